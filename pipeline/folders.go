package pipeline

import (
	"errors"
	"fmt"

	"tonocohort/pipeline/store"
)

// ErrNoFolder says that a folder named on the command line is not there.
var ErrNoFolder = errors.New("no such folder")

// openFolder opens a folder for reading.
func openFolder(dir string) (*store.Root, error) {
	root, err := store.OpenRoot(dir)
	if store.IsMissing(err) {
		return nil, fmt.Errorf("%s: %w", dir, ErrNoFolder)
	}
	return root, err
}
