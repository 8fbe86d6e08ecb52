// Package ledger keeps what a run has worked out: a store of records by content, the lock on the output folder, atomic
// writes, and the lists of hashes.
//
// A record's name is the SHA-256 of everything it depends on (bytes of the photo, settings, method), so a run with
// another setting finds nothing and works anew, and a run with the same inputs finds everything, whatever order the
// photos came in. A record that can't be read is as good as none.
package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"
	"github.com/google/renameio/v2"
)

// Dir is the store's folder below the output folder. It may be deleted at any time a run is not going on.
const Dir = ".tilelapse"

// ErrLocked says that another run is writing to the same output folder.
var ErrLocked = errors.New("another run is working on this output folder; wait for it to end")

// Store is the open store of one output folder. Its methods may be called from several goroutines.
type Store struct {
	out  string
	lock *flock.Flock
}

// Open makes the output folder if need be, takes the lock (shared for a shard of a run, exclusive for a whole run) and
// empties the folder of temporary files when the lock is exclusive. fresh forgets all records.
func Open(out string, shared, fresh bool) (*Store, error) {
	root := filepath.Join(out, Dir)
	if err := os.MkdirAll(filepath.Join(root, "tmp"), 0o755); err != nil {
		return nil, err
	}
	s := &Store{out: out, lock: flock.New(filepath.Join(root, "lock"))}
	take := s.lock.TryLock
	if shared {
		take = s.lock.TryRLock
	}
	ok, err := take()
	if err != nil {
		return nil, fmt.Errorf("%s: lock: %w", root, err)
	}
	if !ok {
		return nil, fmt.Errorf("%s: %w", out, ErrLocked)
	}
	if shared {
		return s, nil
	}
	if err := emptyFolder(s.tmp()); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	if fresh {
		if err := os.RemoveAll(filepath.Join(root, "records")); err != nil {
			return nil, errors.Join(err, s.Close())
		}
	}
	return s, nil
}

// Close gives the lock back.
func (s *Store) Close() error { return s.lock.Unlock() }

func (s *Store) tmp() string { return filepath.Join(s.out, Dir, "tmp") }

func emptyFolder(dir string) error {
	es, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range es {
		if err := os.RemoveAll(filepath.Join(dir, e.Name())); err != nil {
			return err
		}
	}
	return nil
}

// Key is the name of a record: the SHA-256 of its parts, each written as JSON, so that ("ab", "c") and ("a", "bc")
// differ.
func Key(parts ...any) string {
	b, err := json.Marshal(Plain(parts))
	if err != nil {
		panic(fmt.Sprintf("ledger: key of %T: %v", parts, err)) // a part that can't be written is the caller's bug
	}
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

func (s *Store) path(kind, key, ext string) string {
	return filepath.Join(s.out, Dir, "records", kind, key[:2], key+ext)
}

// Get reads the record of a kind and key into v and reports whether there was a readable one.
func (s *Store) Get(kind, key string, v any) bool {
	b, ok := s.Bytes(kind, key, recordExt)
	return ok && gob.NewDecoder(bytes.NewReader(b)).Decode(v) == nil
}

// Put writes a record: the exported fields of v, figures that were not measured (NaN) included.
func (s *Store) Put(kind, key string, v any) error {
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(v); err != nil {
		return fmt.Errorf("record %s: %w", kind, err)
	}
	return s.PutBytes(kind, key, recordExt, b.Bytes())
}

// recordExt is the ending of records that Put writes.
const recordExt = ".record"

// Bytes reads a record that Put did not write, a picture for instance.
func (s *Store) Bytes(kind, key, ext string) ([]byte, bool) {
	b, err := os.ReadFile(s.path(kind, key, ext))
	return b, err == nil
}

// PutBytes writes a record that is no JSON.
func (s *Store) PutBytes(kind, key, ext string, b []byte) error {
	p := s.path(kind, key, ext)
	if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
		return err
	}
	return renameio.WriteFile(p, b, 0o644, renameio.WithTempDir(s.tmp()))
}

// WriteFile writes a result below the output folder: whole or not at all, and not when it would not change a byte.
func (s *Store) WriteFile(rel string, b []byte) error {
	p := filepath.Join(s.out, filepath.FromSlash(rel))
	if old, err := os.ReadFile(p); err == nil && bytes.Equal(old, b) {
		return nil
	}
	if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
		return err
	}
	return renameio.WriteFile(p, b, 0o644, renameio.WithTempDir(s.tmp()))
}

// Prune removes result files that this run did not write: below the folders named, everything not in keep (paths
// relative to the output folder, with slashes). A photo taken away must not leave its overlay behind.
func (s *Store) Prune(keep map[string]bool, folders ...string) error {
	for _, f := range folders {
		root := filepath.Join(s.out, f)
		err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
			if err != nil {
				if errors.Is(err, fs.ErrNotExist) {
					return nil
				}
				return err
			}
			rel, err := filepath.Rel(s.out, p)
			if err != nil || d.IsDir() || keep[filepath.ToSlash(rel)] {
				return err
			}
			return os.Remove(p)
		})
		if err != nil {
			return err
		}
	}
	return nil
}
