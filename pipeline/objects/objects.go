//go:build objectstore

package objects

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"

	"gocloud.dev/blob"
	_ "gocloud.dev/blob/azureblob" // azblob://
	_ "gocloud.dev/blob/fileblob"  // file://
	_ "gocloud.dev/blob/gcsblob"   // gs://
	_ "gocloud.dev/blob/s3blob"    // s3://
	"gocloud.dev/gcerrors"

	"tonocohort/pipeline/store"
)

// mostNames bounds what is listed of one folder: listings serve side files, of which
// a folder has few, and a bucket may hold any number of objects.
const mostNames = 100_000

// Bucket gives the objects of a bucket by path. An object has no links and is no
// device; a path that store.Root would refuse for its form is refused here too.
type Bucket struct {
	bucket *blob.Bucket
	place  string
	ctx    context.Context // of the command: what is read ends with it
}

// Open opens the bucket of a URL, as https://gocloud.dev/howto/blob/ has it;
// ?prefix=FOLDER/ confines it to what begins so. Credentials are those of the
// environment. Nothing is listed.
func Open(ctx context.Context, url string) (*Bucket, error) {
	place, err := Place(url)
	if err != nil {
		return nil, err
	}
	bucket, err := blob.OpenBucket(ctx, url)
	if err != nil {
		return nil, err
	}
	ok, err := bucket.IsAccessible(ctx)
	if err != nil || !ok {
		bucket.Close()
		return nil, fmt.Errorf("%s: no such bucket, or no access to it (%v)", place, err)
	}
	return &Bucket{bucket, place, ctx}, nil
}

// Place is that of pipeline.Storage.
func (b *Bucket) Place() string { return b.place }

// Close releases the connections.
func (b *Bucket) Close() error { return b.bucket.Close() }

// ReadFile is that of store.Root. One request gets one version of the object, which
// cannot change while it is read.
func (b *Bucket) ReadFile(name string, buf []byte, limit int64) ([]byte, string, error) {
	r, err := b.open(name)
	if err != nil {
		return nil, "", err
	}
	defer r.Close()
	size := r.Size()
	if size > limit {
		return nil, "", &store.Error{Code: store.CodeTooLarge, Path: name, Message: fmt.Sprintf("has %d bytes, more than the limit of %d", size, limit)}
	}
	if int64(cap(buf)) < size {
		buf = make([]byte, 0, size+size/8)
	}
	data := buf[:size]
	if _, err := io.ReadFull(r, data); err != nil {
		return nil, "", unreadable(name, err)
	}
	if n, err := r.Read(make([]byte, 1)); n > 0 || err != io.EOF {
		return nil, "", unreadable(name, fmt.Errorf("more than the %d bytes that were announced", size))
	}
	sum := sha256.Sum256(data)
	return data, hex.EncodeToString(sum[:]), nil
}

// Hash is that of store.Root.
func (b *Bucket) Hash(name string) (store.Digest, error) {
	r, err := b.open(name)
	if err != nil {
		return store.Digest{}, err
	}
	defer r.Close()
	digest := sha256.New()
	n, err := io.Copy(digest, r)
	if err == nil && n != r.Size() {
		err = io.ErrUnexpectedEOF
	}
	if err != nil {
		return store.Digest{}, unreadable(name, err)
	}
	return store.Digest{Path: name, Bytes: n, SHA256: hex.EncodeToString(digest.Sum(nil))}, nil
}

// Names is that of store.Root: the objects and folders of one folder, and not what
// lies below these.
func (b *Bucket) Names(dir string) ([]string, error) {
	if err := store.CheckName(dir); err != nil {
		return nil, err
	}
	prefix := dir + "/"
	if dir == "." {
		prefix = ""
	}
	var names []string
	list := b.bucket.List(&blob.ListOptions{Prefix: prefix, Delimiter: "/"})
	for {
		object, err := list.Next(b.ctx)
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, unreadable(dir, err)
		}
		if name := strings.Trim(strings.TrimPrefix(object.Key, prefix), "/"); name != "" {
			names = append(names, name)
		}
		if len(names) > mostNames {
			return nil, &store.Error{Code: store.CodeTooLarge, Path: dir, Message: fmt.Sprintf("holds more than %d objects", mostNames), Hint: "divide it into folders"}
		}
	}
	if len(names) == 0 && dir != "." {
		return nil, &store.Error{Code: store.CodeMissing, Path: dir, Message: "there is no such folder in the bucket"}
	}
	slices.Sort(names)
	return names, nil
}

func (b *Bucket) open(name string) (*blob.Reader, error) {
	if err := store.CheckName(name); err != nil {
		return nil, err
	}
	r, err := b.bucket.NewReader(b.ctx, name, nil)
	if gcerrors.Code(err) == gcerrors.NotFound {
		return nil, &store.Error{Code: store.CodeMissing, Path: name, Message: "there is no such object in the bucket"}
	}
	if err != nil {
		return nil, unreadable(name, err)
	}
	return r, nil
}

// unreadable is an error of the storage, after what its client has tried again: no
// recording is to blame for it.
func unreadable(name string, err error) error {
	return &store.Error{Code: store.CodeRead, Path: name, Message: "the storage does not give it", Err: fmt.Errorf("%w: %w", store.ErrUnavailable, err)}
}
