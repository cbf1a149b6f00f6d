package pipeline

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"tonocohort/pipeline/store"
)

// key is the secret behind keyed pseudonyms and dates. It stays with who keeps
// the study: an unkeyed hash of an id is undone by hashing every id there could
// be, so the secret must be nowhere that the results go.
type key struct{ secret []byte }

// KeyError says why a key cannot be used, without a word of the key or of where
// it lies.
type KeyError struct{ Message string }

func (e *KeyError) Error() string { return "the key: " + e.Message }

const (
	leastKey = 32      // bytes: as many as the hash gives
	mostKey  = 1 << 16 // bytes
)

// loadKey reads a key file, which must lie outside all of the given folders. A
// line end behind the key is not a part of it.
func loadKey(path string, outside ...string) (*key, error) {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return nil, &KeyError{"there is no such file"}
	}
	if real, err = filepath.Abs(real); err != nil {
		return nil, &KeyError{"there is no such file"}
	}
	for _, dir := range outside {
		if liesIn(real, dir) {
			return nil, &KeyError{"the file lies inside the study or the results folder: keep it apart from both"}
		}
	}
	root, err := store.OpenRoot(filepath.Dir(real))
	if err != nil {
		return nil, &KeyError{"the file cannot be read"}
	}
	defer root.Close()
	data, _, err := root.ReadFile(filepath.Base(real), nil, mostKey)
	if err != nil {
		var e *store.Error
		if errors.As(err, &e) {
			return nil, &KeyError{"the file " + e.Message}
		}
		return nil, &KeyError{"the file cannot be read"}
	}
	secret := bytes.TrimRight(data, "\r\n")
	if len(secret) < leastKey {
		return nil, &KeyError{fmt.Sprintf("fewer than %d bytes; openssl rand -hex 32 makes one", leastKey)}
	}
	return &key{secret}, nil
}

// liesIn reports whether the real path is inside the folder, which may not be
// there yet.
func liesIn(real, dir string) bool {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return false
	}
	if resolved, err := filepath.EvalSymlinks(abs); err == nil {
		abs = resolved
	}
	below, err := filepath.Rel(abs, real)
	return err == nil && below != ".." && !strings.HasPrefix(below, ".."+string(filepath.Separator))
}

// sum is the HMAC-SHA-256 (RFC 2104) of a text. The kind comes first, so that
// equal texts of different kinds have nothing in common.
func (k *key) sum(kind, text string) []byte {
	mac := hmac.New(sha256.New, k.secret)
	mac.Write([]byte(kind + "\x00" + text))
	return mac.Sum(nil)
}

// pseudonymBytes of the 32 are shown: 128 bits, so that two of a billion ids
// meet with a chance of one in 10^20.
const pseudonymBytes = 16

func (k *key) pseudonym(kind, text string) string {
	return hex.EncodeToString(k.sum(kind, text)[:pseudonymBytes])
}

// id names the key without giving it away.
func (k *key) id() string { return hex.EncodeToString(k.sum("key id", "")[:8]) }

// mostShift is the largest number of days by which dates are moved.
const mostShift = 365

// daysEarlier is by how much the dates of a person are moved: 1 to mostShift.
func (k *key) daysEarlier(subject string) int {
	return 1 + int(binary.BigEndian.Uint64(k.sum("date", subject))%mostShift)
}
