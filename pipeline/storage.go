package pipeline

import (
	"strings"

	"tonocohort/pipeline/store"
	"tonocohort/schema"
)

// Files gives recordings by their path below the study folder, as store.Root gives
// those of the folder itself. Where the storage fails, and not a file, the error is a
// store.ErrUnavailable. It is used by several goroutines at once.
type Files interface {
	ReadFile(name string, buf []byte, limit int64) (data []byte, sha256hex string, err error)
	Names(dir string) ([]string, error)
	Hash(name string) (store.Digest, error)
}

// Storage gives recordings that do not lie in the study folder.
type Storage interface {
	Files
	// Place is the URL by which others find them; neither a credential nor a path of
	// this machine stands in it.
	Place() string
}

// filesOf gives the files of the recordings of a study.
func filesOf(s Storage, studyFolder *store.Root) Files {
	if s != nil {
		return s
	}
	return studyFolder
}

// elsewhere says where the recordings of results lie that are looked for in the
// study folder; "" where they lie there, or a storage was given.
func elsewhere(m *schema.Manifest, s Storage) string {
	if s != nil || m.Run == nil || len(m.Run.Recordings) == 0 {
		return ""
	}
	return "the recordings were read from " + strings.Join(m.Run.Recordings, " and ") + ": give --recordings URL"
}
