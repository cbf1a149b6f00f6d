// Package store touches the file system for everyone else: it opens nothing
// outside the folder it was given, hashes the very bytes that are handed out,
// writes files so that they appear whole or not at all, and keeps two runs out
// of one results folder. It works on Unix systems.
package store

import (
	"errors"
	"io/fs"
	"path"
	"path/filepath"
	"strings"
	"syscall"

	"tonocohort/schema"
)

// The stable codes of the errors of this package.
const (
	CodePathEmpty     = "path_empty"            // no file name
	CodePathForm      = "path_form"             // not a relative path with '/'
	CodePathLeaves    = "path_leaves_folder"    // absolute, "..", or a link that leads out
	CodeMissing       = "file_missing"          // nothing of that name
	CodeNotRegular    = "not_a_regular_file"    // a folder, device, FIFO or socket
	CodePermission    = "permission_denied"     // the system refuses
	CodeTooLarge      = "file_too_large"        // above the caller's limit
	CodeChanged       = "file_changed"          // grew, shrank or was written while it was read
	CodeRead          = "read_failed"           // any other failure while reading
	CodeWrite         = "write_failed"          // any failure while writing
	CodeResultsLocked = "results_folder_locked" // another run holds the folder
)

// ErrUnavailable is wrapped where the storage cannot be reached or refuses: that is
// no fault of a file, and the next would fail as well.
var ErrUnavailable = errors.New("the storage cannot be read")

// Error is a refusal or failure at one path. Path is relative to the folder
// that was opened, so that no absolute path reaches a log.
type Error struct {
	Code    string
	Path    string
	Message string
	Hint    string
	Err     error // what the system said; nil where the refusal is ours
}

// Error is the line that a person reads.
func (e *Error) Error() string {
	s := e.Path + ": " + e.Message
	if e.Hint != "" {
		s += " — " + e.Hint
	}
	return s
}

// Unwrap gives what the system said.
func (e *Error) Unwrap() error { return e.Err }

// Issue gives the error as a problem of the input of the given size.
func (e *Error) Issue(size schema.Size) schema.Issue {
	return schema.Issue{Size: size, File: e.Path, Code: e.Code, Message: e.Message, Hint: e.Hint}
}

// CheckName refuses names that Root would not open for their form alone.
func CheckName(name string) error { return checkName(name) }

// checkName refuses names that are not a relative path with '/' staying below
// the folder. A link that leads out is found on opening.
func checkName(name string) error {
	leaves := &Error{Code: CodePathLeaves, Path: name, Message: "leads out of the folder", Hint: "give a path relative to the folder, without '..'"}
	switch {
	case name == "":
		return &Error{Code: CodePathEmpty, Path: name, Message: "no file name"}
	case strings.ContainsRune(name, 0):
		return &Error{Code: CodePathForm, Path: strings.ReplaceAll(name, "\x00", "?"), Message: "the name holds a NUL character"}
	case strings.Contains(name, `\`):
		return &Error{Code: CodePathForm, Path: name, Message: `the path holds a '\'`, Hint: "write paths with '/'"}
	case path.IsAbs(name) || len(name) > 1 && name[1] == ':':
		leaves.Message = "is an absolute path"
		return leaves
	case !filepath.IsLocal(name):
		return leaves
	}
	return nil
}

// pathError turns what the system said about name into an Error.
func pathError(name, code string, err error) error {
	e := &Error{Code: code, Path: name, Err: bare(err)}
	var errno syscall.Errno
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.Code, e.Message = CodeMissing, "there is no such file"
	case errors.Is(err, fs.ErrPermission):
		e.Code, e.Message = CodePermission, "the system does not permit it"
	case code == CodeRead && !errors.As(err, &errno):
		// os.Root names a link that leaves with an error of its own; every
		// other failure to open carries the number the system gave.
		e.Code, e.Message = CodePathLeaves, "a link leads out of the folder"
		e.Hint = "put the file itself into the folder"
	case errors.Is(err, syscall.ENOTDIR):
		e.Code, e.Message = CodeMissing, "a part of the path is not a folder"
	case errors.Is(err, syscall.ELOOP):
		e.Code, e.Message = CodePathLeaves, "links lead in a circle"
	default:
		e.Message = "failed: " + e.Err.Error()
	}
	return e
}

// bare strips the path that the system's error carries.
func bare(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
