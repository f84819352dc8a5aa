package sweep

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// JournalFile is the name of an unfinished job's journal in its folder.
const JournalFile = "journal"

// Journal is the log of a job's finished units of work, from which the same
// job goes on where it stopped. A unit is a step of the search that depends on
// the steps before it only: a window of lengths, a batch of ray checks, a whole
// sweep point. The same job does the same units in the same order, so that
// replaying what they brought leads to where the journal ends.
//
// The file is a sequence of records: the length of the payload and a checksum,
// four bytes each, little endian, then the payload. The checksum is a CRC-32C
// that carries on from the record before, so that no record counts but in its
// place. The first record is the header, the others are appended. One that is
// torn or damaged ends the journal: what was written before it is whole, what
// comes after it is dropped, and done again.
type Journal struct {
	path   string
	header header
	file   *os.File
	end    int64  // of the last whole record
	sum    uint32 // its checksum

	units  int              // recorded by earlier attempts
	points map[int]recorded // what they recorded, by sweep point
	ended  bool             // the part is done, see recordEnd

	unsynced bool
	syncNext time.Time // a sync is due from then on
}

// recorded is what a journal holds of one sweep point.
type recorded struct {
	first, last int64  // of its records, offsets in the file
	units       int    // between these
	outcome     []byte // payload of the record of the finished point, or nil
	ideal       []byte // payload of the record of its ideal limit, or nil
}

// The kinds of records: the first byte of a payload. All but the header name
// their sweep point next.
const (
	recordHeader = 'H'
	recordLeast  = 'L' // the length to start from
	recordWindow = 'W' // one window of lengths
	recordChecks = 'C' // one batch of ray checks, taken off a walk
	recordEased  = 'F' // one batch of checks with limits lifted, likewise
	recordScreen = 'N' // one batch of screens for refinement, likewise
	recordRefine = 'R' // one batch of refinements
	recordGrades = 'G' // one batch of a population search
	recordPoint  = 'P' // a finished sweep point
	recordIdeal  = 'I' // a sweep point's ideal limit
	recordEnd    = 'E' // all of a part's sweep points are finished
)

const recordPrefix = 8 // bytes of length and checksum

// recordMost bounds a record: a longer one is damage. The memory of one of
// recordSmall bytes is taken before these are read.
const (
	recordMost  = 1 << 30
	recordSmall = 1 << 16
)

// syncInterval is the time between two syncs of the journal. What was written
// since the last one outlives the end of the process, but may not outlive that
// of the machine. A disk that needs long for a sync is asked less often, so
// that a run spends at most 1 / (1 + syncRest) of its time on it.
const (
	syncInterval = 500 * time.Millisecond
	syncRest     = 10
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// errDamaged tells that a record does not fit where it stands although its
// checksum is right.
var errDamaged = errors.New("does not fit this job")

// frame is a record as it stands in the file.
func frame(sum uint32, payload []byte) ([]byte, uint32) {
	sum = crc32.Update(sum, castagnoli, payload)
	record := make([]byte, recordPrefix, recordPrefix+len(payload))
	binary.LittleEndian.PutUint32(record, uint32(len(payload)))
	binary.LittleEndian.PutUint32(record[4:], sum)
	return append(record, payload...), sum
}

// createJournal begins a journal in place of any other at path. It appears
// with its header whole.
func createJournal(path string, h header) (*Journal, error) {
	payload, err := h.encode()
	if err != nil {
		return nil, err
	}
	record, sum := frame(0, payload)
	begun := path + ".new"
	f, err := os.OpenFile(begun, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o666)
	if err != nil {
		return nil, err
	}
	if _, err = f.Write(record); err == nil {
		err = f.Sync()
	}
	if err == nil {
		err = os.Rename(begun, path)
	}
	if err == nil {
		err = SyncFolder(filepath.Dir(path))
	}
	if err != nil {
		// The first fault is the one to report.
		_ = f.Close()
		_ = os.Remove(begun)
		return nil, fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
	}
	return &Journal{path: path, header: h, file: f, end: int64(len(record)), sum: sum, points: map[int]recorded{}}, nil
}

// readJournal reads a journal, to be appended to where write is set. The error
// is fs.ErrNotExist where there is none.
func readJournal(path string, write bool) (j *Journal, err error) {
	mode := os.O_RDONLY
	if write {
		mode = os.O_RDWR
	}
	f, err := os.OpenFile(path, mode, 0)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			_ = f.Close()
		}
	}()
	j = &Journal{path: path, file: f, points: map[int]recorded{}}
	if err := j.scan(); err != nil {
		return nil, err
	}
	if !write {
		return j, nil
	}
	if err := f.Truncate(j.end); err != nil {
		return nil, fmt.Errorf("%s: cannot be written: %w", path, causeOf(err))
	}
	if _, err := f.Seek(j.end, io.SeekStart); err != nil {
		return nil, fmt.Errorf("%s: cannot be read: %w", path, causeOf(err))
	}
	return j, nil
}

// scan reads all records up to the first that is not whole.
func (j *Journal) scan() error {
	in := bufio.NewReaderSize(j.file, 1<<18)
	for {
		payload, sum, err := readRecord(in, j.sum)
		if errors.Is(err, io.ErrUnexpectedEOF) {
			break
		}
		if err != nil {
			return fmt.Errorf("%s: cannot be read: %w", j.path, causeOf(err))
		}
		first := j.end
		if first == 0 {
			if j.header, err = decodeHeader(payload); err != nil {
				return &DamagedJournalError{j.path, err}
			}
		}
		j.sum, j.end = sum, first+recordPrefix+int64(len(payload))
		if first > 0 {
			j.note(payload, first)
		}
	}
	if j.end == 0 {
		return &DamagedJournalError{j.path, errors.New("has no whole header")}
	}
	return nil
}

// readRecord reads one record that follows one with the checksum before. A
// record that is not whole is io.ErrUnexpectedEOF, as is the end.
func readRecord(in io.Reader, before uint32) (payload []byte, sum uint32, err error) {
	var prefix [recordPrefix]byte
	if _, err := io.ReadFull(in, prefix[:]); err != nil {
		return nil, 0, cut(err)
	}
	// A record without payload is what a hole in the file reads as.
	length := binary.LittleEndian.Uint32(prefix[:])
	if length == 0 || length > recordMost {
		return nil, 0, io.ErrUnexpectedEOF
	}
	// The length may be damage: memory is taken as the bytes come.
	if length <= recordSmall {
		payload = make([]byte, length)
		_, err = io.ReadFull(in, payload)
		err = cut(err)
	} else {
		payload, err = io.ReadAll(io.LimitReader(in, int64(length)))
	}
	if err != nil {
		return nil, 0, err
	}
	sum = crc32.Update(before, castagnoli, payload)
	if len(payload) < int(length) || sum != binary.LittleEndian.Uint32(prefix[4:]) {
		return nil, 0, io.ErrUnexpectedEOF
	}
	return payload, sum, nil
}

func cut(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}

// note takes a whole record that starts at first into account.
func (j *Journal) note(payload []byte, first int64) {
	if payload[0] == recordEnd {
		j.ended = true
		return
	}
	d := decoder{rest: payload[1:]}
	point := int(d.uvarint())
	r := j.points[point]
	switch payload[0] {
	case recordPoint:
		r.outcome = payload
	case recordIdeal:
		r.ideal = payload
	default:
		if r.units == 0 {
			r.first = first
		}
		r.units++
		r.last = j.end
	}
	j.points[point] = r
	j.units++
}

// append writes a record.
func (j *Journal) append(payload []byte) error {
	record, sum := frame(j.sum, payload)
	if _, err := j.file.Write(record); err != nil {
		// Where this fails as well, the torn record is dropped by its checksum.
		_ = j.file.Truncate(j.end)
		_, _ = j.file.Seek(j.end, io.SeekStart)
		return j.failed(err)
	}
	j.sum, j.end = sum, j.end+int64(len(record))
	j.unsynced = true
	if time.Now().Before(j.syncNext) {
		return nil
	}
	return j.sync()
}

// sync makes everything that was appended outlive the machine, and sees that
// the journal still is where the next attempt will look for it.
func (j *Journal) sync() error {
	if !j.unsynced {
		return nil
	}
	start := time.Now()
	if err := j.file.Sync(); err != nil {
		return j.failed(err)
	}
	opened, err := j.file.Stat()
	if err != nil {
		return j.failed(err)
	}
	switch standing, err := os.Stat(j.path); {
	case errors.Is(err, fs.ErrNotExist) || err == nil && !os.SameFile(opened, standing):
		return fmt.Errorf("%s: has gone: the output folder was moved or removed while the run was in it", j.path)
	case err != nil:
		return j.failed(err)
	}
	j.unsynced = false
	end := time.Now()
	j.syncNext = end.Add(max(syncInterval, syncRest*end.Sub(start)))
	return nil
}

func (j *Journal) failed(err error) error {
	return fmt.Errorf("%s: cannot be written: %w\n    what stands in it is kept: mend that, and the same command goes on", j.path, causeOf(err))
}

// Close syncs and closes the journal.
func (j *Journal) Close() error {
	return errors.Join(j.sync(), j.file.Close())
}

// Remove removes the journal of a job whose results are in place, and closes
// it.
func (j *Journal) Remove() error {
	return errors.Join(os.Remove(j.path), j.file.Close())
}

// Units is how many units earlier attempts have recorded.
func (j *Journal) Units() int { return j.units }

// PointsDone is how many sweep points earlier attempts have finished.
func (j *Journal) PointsDone() int {
	n := 0
	for _, r := range j.points {
		if r.outcome != nil {
			n++
		}
	}
	return n
}

// Ended tells that earlier attempts have finished all of the job's part.
func (j *Journal) Ended() bool { return j.ended }

// Started is when the first attempt began.
func (j *Journal) Started() time.Time { return j.header.Started }

// unitReader reads the units that a journal holds of a sweep point.
type unitReader struct {
	in   *bufio.Reader
	left int
	path string
	seen []byte // the next payload, when it was looked at before
}

// unitsOf reads the units of a sweep point from the first on.
func (j *Journal) unitsOf(point int) *unitReader {
	r := j.points[point]
	section := io.NewSectionReader(j.file, r.first, r.last-r.first)
	return &unitReader{in: bufio.NewReaderSize(section, 1<<16), left: r.units, path: j.path}
}

// next is the payload of the next unit, nil behind the last one. Checksums
// were seen to by scan.
func (r *unitReader) next() ([]byte, error) {
	payload, err := r.look()
	if payload != nil {
		r.left--
		r.seen = nil
	}
	return payload, err
}

// peek is the kind of the next unit, 0 behind the last one.
func (r *unitReader) peek() (byte, error) {
	payload, err := r.look()
	if payload == nil {
		return 0, err
	}
	return payload[0], nil
}

func (r *unitReader) look() ([]byte, error) {
	if r.left == 0 || r.seen != nil {
		return r.seen, nil
	}
	var prefix [recordPrefix]byte
	if _, err := io.ReadFull(r.in, prefix[:]); err != nil {
		return nil, fmt.Errorf("%s: cannot be read: %w", r.path, cut(err))
	}
	payload := make([]byte, binary.LittleEndian.Uint32(prefix[:]))
	if _, err := io.ReadFull(r.in, payload); err != nil {
		return nil, fmt.Errorf("%s: cannot be read: %w", r.path, cut(err))
	}
	r.seen = payload
	return payload, nil
}

// DamagedJournalError tells that a journal cannot be gone on with.
type DamagedJournalError struct {
	Path string
	Why  error
}

func (e *DamagedJournalError) Error() string {
	return fmt.Sprintf("%s: %v\n    --restart begins the job anew and drops the journal", e.Path, e.Why)
}

// Unwrap is the cause.
func (e *DamagedJournalError) Unwrap() error { return e.Why }

// causeOf is the cause of a file error without the file's name, which is said
// beside it.
func causeOf(err error) error {
	var p *fs.PathError
	var l *os.LinkError
	switch {
	case errors.As(err, &p):
		return p.Err
	case errors.As(err, &l):
		return l.Err
	}
	return err
}

// SyncFolder makes renames in a folder outlive the machine, where the file
// system has such a thing.
func SyncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, fs.ErrInvalid) {
		return err
	}
	return nil
}
