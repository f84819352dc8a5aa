package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"relaysweep/sweep"
)

// TestPlacesTaken: what stands where a file of the results goes is seen before
// anything is computed, with --restart as without.
func TestPlacesTaken(t *testing.T) {
	for name, want := range map[string]string{
		rankedFile: "a file", setpointsFile: "a file", manifestFile: "a file", logFile: "a file", sweep.JournalFile: "a file",
		"inputs/lenses-1.csv": "a file", inputsFolder: "a folder", "parts": "a folder",
	} {
		kinds := map[string]func(path string) error{
			"a link":           func(path string) error { return os.Symlink("elsewhere", path) },
			"a pipe or device": func(path string) error { return syscall.Mkfifo(path, 0o666) },
		}
		if want == "a file" {
			kinds["a folder"] = func(path string) error { return os.Mkdir(path, 0o777) }
		} else {
			kinds["a file"] = func(path string) error { return os.WriteFile(path, nil, 0o666) }
		}
		for what, put := range kinds {
			spec := newJob(t)
			path := filepath.Join(outputOf(spec), name)
			if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
				t.Fatal(err)
			}
			if err := put(path); err != nil {
				t.Fatal(err)
			}
			for _, args := range [][]string{{"run", spec}, {"run", "--restart", spec}, {"run", "--part", "1/2", spec}} {
				o := must(t, exitFailed, args...)
				if !strings.Contains(o.stderr, fmt.Sprintf("%s: is %s, where the run has to make %s", path, what, want)) || strings.Count(o.stderr, "relaysweep: ") != 1 {
					t.Errorf("%v: %s", args, o.stderr)
				}
			}
			if _, err := os.Lstat(path); err != nil {
				t.Error(err)
			}
		}
	}
}

// TestFullDisk writes results onto disks of 35 sizes, of which few hold them.
// Making such a disk takes a root: without one, the test above stands alone.
func TestFullDisk(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Log("not root: no disk of a size could be made")
		return
	}
	disk := t.TempDir()
	mount := func(options string) error {
		out, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "tmpfs", disk).CombinedOutput()
		if err != nil {
			err = fmt.Errorf("%w: %s", err, out)
		}
		return err
	}
	if err := mount("size=64m"); err != nil {
		t.Logf("no disk of a size could be made: %v", err)
		return
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", disk).CombinedOutput(); err != nil {
			t.Errorf("%v: %s", err, out)
		}
	})
	d := newFullDisk(t, filepath.Join(disk, "out"))
	var used syscall.Statfs_t
	if err := syscall.Statfs(disk, &used); err != nil {
		t.Fatal(err)
	}
	taken := int64(used.Blocks-used.Bfree) * int64(used.Bsize)
	failed := 0
	const sizes, step = 35, 16 << 10
	for i := range int64(sizes) {
		if err := mount(fmt.Sprintf("remount,size=%d", taken+i*step)); err != nil {
			t.Fatal(err)
		}
		written := d.write(t, fmt.Sprintf("%d kB of room", i*step>>10))
		if !written {
			failed++
		}
		if err := mount("remount,size=64m"); err != nil {
			t.Fatal(err)
		}
		restore(t, d.output, d.old)
	}
	if failed < 15 || failed > sizes-3 {
		t.Errorf("%d of %d disks were too small", failed, sizes)
	}
	t.Logf("%d of %d disks were too small", failed, sizes)
}
