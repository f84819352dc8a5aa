package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"

	"relaysweep/sweep"
)

// inputsFolder is the folder, in an output folder, of the copies of what the
// run was made from: lens prescriptions are not among the results, and whoever
// asks later where the mask stands at another depth may have edited the tables.
const inputsFolder = "inputs"

// inputCopy is a file of a job as the run read it.
type inputCopy struct {
	name string // in the folder of inputs
	data []byte
}

// readInputs takes the job's files into memory. They are written with the
// results only, so that those of an earlier run keep their own until then.
func readInputs(job *sweep.Job) ([]inputCopy, error) {
	var copies []inputCopy
	for _, in := range job.Inputs() {
		data, err := os.ReadFile(in.File.Path)
		if err != nil {
			return nil, err
		}
		if digestOf(data) != in.SHA256 {
			return nil, fmt.Errorf("%s: changed while it was read; run again", in.File.Shown)
		}
		copies = append(copies, inputCopy{in.Copy, data})
	}
	return copies, nil
}

func digestOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
