package journal

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
	"strings"
	"time"
)

// Journal is a log of records, from which a job goes on where it stopped.
//
// The file is a sequence of records: the length of the payload and a checksum,
// four bytes each, little endian, then the payload. The checksum is a CRC-32C
// that carries on from the record before, so that no record counts but in its
// place. The first record is the header, the others are appended. One that is
// torn or damaged ends the journal: what was written before it is whole, what
// comes after it is dropped, and done again.
type Journal struct {
	path   string
	header []byte
	file   *os.File
	end    int64  // of the last whole record
	sum    uint32 // its checksum

	kept     string         // kinds of records that are held in memory
	recorded int            // records by earlier attempts
	points   map[int]*point // what they recorded

	unsynced bool
	syncNext time.Time // a sync is due from then on
}

// Record is a record of a journal. Its payload in the file is the kind, the point as
// a variable-length number, and the body.
type Record struct {
	Kind  byte
	Point int // of the job, at least 0
	Body  []byte
}

// point is what a journal holds of one point of the job.
type point struct {
	first, last int64           // of its units, offsets in the file
	units       int             // between these
	kept        map[byte][]byte // bodies of its other records by kind, the last of each
}

// headerKind is the first byte of the header's payload.
const headerKind = 'H'

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

// ErrUnfit says that a record does not fit where it stands although its
// checksum is right.
var ErrUnfit = errors.New("does not fit this job")

// frame is a payload as it stands in the file.
func frame(sum uint32, payload []byte) ([]byte, uint32) {
	sum = crc32.Update(sum, castagnoli, payload)
	record := make([]byte, recordPrefix, recordPrefix+len(payload))
	binary.LittleEndian.PutUint32(record, uint32(len(payload)))
	binary.LittleEndian.PutUint32(record[4:], sum)
	return append(record, payload...), sum
}

// NewSuffix is what the name of a journal ends in until its header is whole. The name is
// fixed: who creates a journal holds the folder's [Lock], and what a process left that was
// killed there is replaced by the next one, rather than kept beside it.
const NewSuffix = ".new"

// Create begins a journal in place of any other at path. It appears with its header
// whole.
func Create(path string, header []byte) (*Journal, error) {
	record, sum := frame(0, append([]byte{headerKind}, header...))
	begun := path + NewSuffix
	if err := removeBegun(begun); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(begun, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
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
		return nil, fmt.Errorf("%s: cannot be written: %w", path, CauseOf(err))
	}
	return &Journal{path: path, header: header, file: f, end: int64(len(record)), sum: sum, points: map[int]*point{}}, nil
}

// removeBegun removes what a killed process has left of a journal that it was creating. What
// is none, by its first bytes, is another's and stays: the error names it.
func removeBegun(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	foreign := fmt.Errorf("%s: is no file of this program, and a new journal needs the name: move it away", path)
	if !info.Mode().IsRegular() {
		return foreign
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	var start [recordPrefix + 1]byte
	n, err := io.ReadFull(f, start[:])
	_ = f.Close()
	if n > 0 && (err != nil || start[recordPrefix] != headerKind) {
		return foreign
	}
	return os.Remove(path)
}

// Open reads a journal, to be appended to. Records of the kinds in kept are held in
// memory, see [Journal.Kept]; all others are units, see [Journal.Units]. The error is
// fs.ErrNotExist where there is no journal, and a [DamagedError] where it has no whole header.
func Open(path, kept string) (*Journal, error) {
	j, err := open(path, os.O_RDWR, kept)
	if err != nil {
		return nil, err
	}
	if err = j.file.Truncate(j.end); err != nil {
		err = fmt.Errorf("%s: cannot be written: %w", path, CauseOf(err))
	} else if _, err = j.file.Seek(j.end, io.SeekStart); err != nil {
		err = fmt.Errorf("%s: cannot be read: %w", path, CauseOf(err))
	}
	if err != nil {
		_ = j.file.Close()
		return nil, err
	}
	return j, nil
}

// OpenToRead reads a journal as [Open] does, and leaves the file as it is.
func OpenToRead(path, kept string) (*Journal, error) { return open(path, os.O_RDONLY, kept) }

func open(path string, mode int, kept string) (*Journal, error) {
	f, err := os.OpenFile(path, mode, 0)
	if err != nil {
		return nil, err
	}
	j := &Journal{path: path, file: f, kept: kept, points: map[int]*point{}}
	if err := j.scan(); err != nil {
		_ = f.Close()
		return nil, err
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
			return fmt.Errorf("%s: cannot be read: %w", j.path, CauseOf(err))
		}
		first := j.end
		if first == 0 {
			if payload[0] != headerKind {
				return j.Damaged(errors.New("is no journal of this program"))
			}
			j.header = payload[1:]
		}
		j.sum, j.end = sum, first+recordPrefix+int64(len(payload))
		if first > 0 {
			j.note(payload, first)
		}
	}
	if j.end == 0 {
		return j.Damaged(errors.New("has no whole header"))
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

// note takes a whole record that starts at first into account. One without a
// point is of no use to anyone, and counts as of the first point.
func (j *Journal) note(payload []byte, first int64) {
	r := recordOf(payload)
	p := j.points[r.Point]
	if p == nil {
		p = &point{kept: map[byte][]byte{}}
		j.points[r.Point] = p
	}
	j.recorded++
	if strings.IndexByte(j.kept, r.Kind) >= 0 {
		p.kept[r.Kind] = r.Body
		return
	}
	if p.units == 0 {
		p.first = first
	}
	p.units++
	p.last = j.end
}

// recordOf reads a payload, which is not empty.
func recordOf(payload []byte) Record {
	d := NewDecoder(payload[1:])
	return Record{Kind: payload[0], Point: d.Uvarint(), Body: d.rest}
}

// Append writes a record.
func (j *Journal) Append(r Record) error {
	payload := binary.AppendUvarint([]byte{r.Kind}, uint64(r.Point))
	payload = append(payload, r.Body...)
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
	return j.Sync()
}

// Sync makes everything that was appended outlive the machine, and sees that
// the journal still is where the next attempt will look for it.
func (j *Journal) Sync() error {
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
	return fmt.Errorf("%s: cannot be written: %w\n    what stands in it is kept: mend that, and the same command goes on", j.path, CauseOf(err))
}

// Close syncs and closes the journal.
func (j *Journal) Close() error {
	return errors.Join(j.Sync(), j.file.Close())
}

// Remove removes the journal of a job whose results are in place, and closes
// it.
func (j *Journal) Remove() error {
	return errors.Join(os.Remove(j.path), j.file.Close())
}

// Path is where the journal stands.
func (j *Journal) Path() string { return j.path }

// Header is what the journal was created with.
func (j *Journal) Header() []byte { return j.header }

// Sum is the checksum of all that the journal holds.
func (j *Journal) Sum() uint32 { return j.sum }

// Recorded is how many records earlier attempts have appended.
func (j *Journal) Recorded() int { return j.recorded }

// Kept is the body of the last record of a kind that earlier attempts have appended for
// a point, and whether there is one. The kind is one of those that [Open] was given.
func (j *Journal) Kept(kind byte, of int) (body []byte, ok bool) {
	if p := j.points[of]; p != nil {
		body, ok = p.kept[kind]
	}
	return body, ok
}

// PointsWith is how many points have a record of a kind that is kept.
func (j *Journal) PointsWith(kind byte) int {
	n := 0
	for _, p := range j.points {
		if _, ok := p.kept[kind]; ok {
			n++
		}
	}
	return n
}

// Units reads the units that a journal holds of a point, in their order.
type Units struct {
	journal *Journal
	point   int
	in      *bufio.Reader
	left    int
	seen    *Record // the next one, when it was looked at before
}

// Units are those that earlier attempts have appended for a point, from the first on.
func (j *Journal) Units(of int) *Units {
	p := j.points[of]
	if p == nil {
		p = &point{}
	}
	section := io.NewSectionReader(j.file, p.first, p.last-p.first)
	return &Units{journal: j, point: of, in: bufio.NewReaderSize(section, 1<<16), left: p.units}
}

// Left is how many units are left.
func (u *Units) Left() int { return u.left }

// Next is the next unit, nil behind the last one.
func (u *Units) Next() (*Record, error) {
	r, err := u.look()
	if r != nil {
		u.left--
		u.seen = nil
	}
	return r, err
}

// Peek is the kind of the next unit, 0 behind the last one.
func (u *Units) Peek() (byte, error) {
	r, err := u.look()
	if r == nil {
		return 0, err
	}
	return r.Kind, nil
}

// look reads the next unit. Checksums were seen to when the journal was opened.
func (u *Units) look() (*Record, error) {
	for u.left > 0 && u.seen == nil {
		var prefix [recordPrefix]byte
		if _, err := io.ReadFull(u.in, prefix[:]); err != nil {
			return nil, fmt.Errorf("%s: cannot be read: %w", u.journal.path, cut(err))
		}
		payload := make([]byte, binary.LittleEndian.Uint32(prefix[:]))
		if _, err := io.ReadFull(u.in, payload); err != nil {
			return nil, fmt.Errorf("%s: cannot be read: %w", u.journal.path, cut(err))
		}
		// Between a point's units may stand what is not one.
		if r := recordOf(payload); r.Point == u.point && strings.IndexByte(u.journal.kept, r.Kind) < 0 {
			u.seen = &r
		}
	}
	return u.seen, nil
}

// DamagedError says that a journal cannot be gone on with.
type DamagedError struct {
	Path string
	Why  error
}

func (e *DamagedError) Error() string {
	return fmt.Sprintf("%s: %v\n    --restart begins the job anew and drops the journal", e.Path, e.Why)
}

// Unwrap is the cause.
func (e *DamagedError) Unwrap() error { return e.Why }

// Damaged is the error that this journal cannot be gone on with, and why.
func (j *Journal) Damaged(why error) error { return &DamagedError{j.path, why} }

// CauseOf is the cause of a file error without the file's name, which is said
// beside it.
func CauseOf(err error) error {
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
