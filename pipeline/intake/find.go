package intake

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"sort"
	"strings"
	"syscall"
	"unicode/utf8"
)

// Found is a photo's path, or a path that should be one and why it can't be read.
type Found struct {
	Path string // relative to the survey folder, slashes, spelled as the file system spells it
	Err  error  // nil, or an *Error: a symbolic link, no permission …
}

// storeName is the folder that marks an output folder of this program: what lies beside it are results, not photos.
const storeName = ".tilelapse"

// Find lists the photos below the given folders (slashes, relative to root), sorted by path, each once: regular files
// with a picture's extension or a picture's first bytes. Hidden files and folders and output folders are skipped.
// Symbolic links are never followed: a linked file is listed with an error; a linked folder, a folder that is missing
// and one outside root are errors of the survey.
func Find(root string, folders []string) ([]Found, error) {
	var errs []error
	at := map[string]error{}
	for _, folder := range folders {
		dir, err := inside(root, folder)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		if err := walk(root, dir, at); err != nil {
			errs = append(errs, err)
		}
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	found := make([]Found, 0, len(at))
	for p, err := range at {
		found = append(found, Found{Path: p, Err: err})
	}
	sort.Slice(found, func(i, j int) bool { return found[i].Path < found[j].Path })
	return found, nil
}

// inside returns a folder's path relative to root after looking at each part of it.
func inside(root, folder string) (string, error) {
	dir := path.Clean(strings.ReplaceAll(folder, "\\", "/"))
	if !fs.ValidPath(dir) {
		return "", fmt.Errorf("photo folder %q leads out of the survey folder; name a folder below it", folder)
	}
	full := root
	for part := range strings.SplitSeq(dir, "/") {
		full = filepath.Join(full, part)
		info, err := os.Lstat(full)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return "", fmt.Errorf("photo folder %q does not exist; make it or name another under photos in survey.yaml", folder)
		case err != nil:
			return "", fmt.Errorf("photo folder %q: %w", folder, unread(err))
		case part != "." && info.Mode()&fs.ModeSymlink != 0:
			return "", linkedFolder(folder)
		case part != "." && !info.IsDir():
			return "", fmt.Errorf("photo folder %q is not a folder", folder)
		}
	}
	return dir, nil
}

func linkedFolder(rel string) error {
	return fmt.Errorf("folder %q is a symbolic link; links are never followed: put the photos themselves here or remove the link", rel)
}

// walk adds the photos below dir to found; the value is nil or why a photo can't be read.
func walk(root, dir string, found map[string]error) error {
	entries, err := os.ReadDir(filepath.Join(root, filepath.FromSlash(dir)))
	if err != nil {
		found[dir] = unread(err) // others may be readable: listed, and the run ends with code 1
		return nil
	}
	for _, e := range entries {
		if e.Name() == storeName && e.IsDir() {
			return nil
		}
	}
	var errs []error
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			continue
		}
		rel := path.Join(dir, e.Name())
		switch {
		case e.IsDir():
			if err := walk(root, rel, found); err != nil {
				errs = append(errs, err)
			}
		case e.Type()&fs.ModeSymlink != 0:
			if err := link(root, rel, found); err != nil {
				errs = append(errs, err)
			}
		case e.Type() != 0:
			if _, ok := extensions[extension(rel)]; ok {
				found[rel] = refuse(NotRegular, "%s", kindOf(e.Type()))
			}
		default:
			file(root, rel, found)
		}
	}
	return errors.Join(errs...)
}

// link lists a linked picture and refuses a linked folder. What the link leads to is looked at, never read.
func link(root, rel string, found map[string]error) error {
	full := filepath.Join(root, filepath.FromSlash(rel))
	if info, err := os.Stat(full); err == nil && info.IsDir() {
		return linkedFolder(rel)
	}
	target, _ := os.Readlink(full)
	_, named := extensions[extension(rel)]
	_, targetNamed := extensions[extension(filepath.ToSlash(target))]
	if named || targetNamed {
		add(rel, refuse(Link, ""), found)
	}
	return nil
}

// file lists a regular file that is a picture by its extension or its first bytes.
func file(root, rel string, found map[string]error) {
	if _, ok := extensions[extension(rel)]; ok {
		add(rel, nil, found)
		return
	}
	f, err := os.OpenFile(filepath.Join(root, filepath.FromSlash(rel)), os.O_RDONLY|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0)
	if err != nil {
		add(rel, unread(err), found) // it may be a photo: silence would lose it
		return
	}
	defer f.Close()
	head := make([]byte, sniffLen)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		add(rel, unread(err), found)
		return
	}
	if sniff(head[:n]) != "" {
		add(rel, nil, found)
	}
}

// add lists a path. One that is not UTF-8 can't be written to a table or a checksum file and found again by its name;
// it is listed with the offending bytes spelled out.
func add(rel string, err error, found map[string]error) {
	if utf8.ValidString(rel) {
		found[rel] = err
		return
	}
	var b strings.Builder
	for i := 0; i < len(rel); {
		r, n := utf8.DecodeRuneInString(rel[i:])
		if r == utf8.RuneError && n == 1 {
			fmt.Fprintf(&b, `\x%02X`, rel[i])
		} else {
			b.WriteString(rel[i : i+n])
		}
		i += n
	}
	found[b.String()] = refuse(BadName, "its bytes that are not characters are shown as \\xNN")
}

func kindOf(m fs.FileMode) string {
	switch {
	case m&fs.ModeNamedPipe != 0:
		return "a pipe"
	case m&fs.ModeSocket != 0:
		return "a socket"
	case m&fs.ModeDevice != 0:
		return "a device"
	}
	return "a special file"
}
