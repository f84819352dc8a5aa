package catalog

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// Bounds of the tables. What is beyond them is a slip, such as the wrong file,
// and is refused before any work is put into it.
const (
	// TableBytesMost is the size of a table in bytes.
	TableBytesMost = 32 << 20
	// lineBytesMost is the length of one line of it in bytes.
	lineBytesMost = 64 << 10
	// columnsMost is the number of columns of a table.
	columnsMost = 500
)

// ReadFile reads a regular file of at most so many bytes. Everything else, such
// as a device or a pipe, may never end, and is refused unread. An error is one
// plain clause without the path.
func ReadFile(path string, bytesMost int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, bare(err)
	}
	if err := regular(info, bytesMost); err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, bare(err)
	}
	defer f.Close()
	// It may have been exchanged or have grown since.
	if info, err = f.Stat(); err != nil {
		return nil, bare(err)
	}
	if err := regular(info, bytesMost); err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(f, bytesMost+1))
	switch {
	case err != nil:
		return nil, bare(err)
	case int64(len(data)) > bytesMost:
		return nil, fmt.Errorf("it is larger than %s, the most that is read", size(bytesMost))
	}
	return data, nil
}

func regular(info fs.FileInfo, bytesMost int64) error {
	switch {
	case info.IsDir():
		return errors.New("it is a directory, and has to be a file")
	case !info.Mode().IsRegular():
		return errors.New("it is a device, pipe or socket, and has to be a regular file")
	case info.Size() > bytesMost:
		return fmt.Errorf("it holds %s, and at most %s are read", size(info.Size()), size(bytesMost))
	}
	return nil
}

// bare is the reason of an error without operation and path.
func bare(err error) error {
	var inPath *fs.PathError
	if errors.As(err, &inPath) {
		return inPath.Err
	}
	return err
}

// size is a number of bytes to read, rounded up.
func size(n int64) string {
	const kB, MB = 1 << 10, 1 << 20
	if n < MB {
		return fmt.Sprintf("%d kB", (n+kB-1)/kB)
	}
	return fmt.Sprintf("%d MB", (n+MB-1)/MB)
}

// longLine is the number, from 1, of the first line that is longer than a
// table's may be, 0 for none.
func longLine(data []byte) int {
	for line := 1; len(data) > 0; line++ {
		n := bytes.IndexByte(data, '\n')
		if n > lineBytesMost || n < 0 && len(data) > lineBytesMost {
			return line
		}
		if n < 0 {
			break
		}
		data = data[n+1:]
	}
	return 0
}
