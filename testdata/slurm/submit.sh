#!/usr/bin/env bash
# Submits a job to Slurm: an array of tasks, each of which does a part, and a
# merge that starts when all of them are done. Prints the two job numbers.
#
#     testdata/slurm/submit.sh SPEC OUTPUT PARTS [options of sbatch]
#
# SPEC, OUTPUT (the job's output folder) and the program have to be on a file
# system that all nodes see. RELAYSWEEP names the program, relaysweep by default.
set -euo pipefail
if [ $# -lt 3 ]; then
  echo "usage: $0 SPEC OUTPUT PARTS [options of sbatch]" >&2
  exit 2
fi
spec=$(realpath "$1")
output=$(realpath --canonicalize-missing "$2")
parts=$3
shift 3
here=$(dirname "$(realpath "${BASH_SOURCE[0]}")")
RELAYSWEEP=$(command -v "${RELAYSWEEP:-relaysweep}") || {
  echo "$0: there is no ${RELAYSWEEP:-relaysweep}; build it and name it by RELAYSWEEP" >&2
  exit 2
}
RELAYSWEEP=$(realpath "$RELAYSWEEP")
export RELAYSWEEP

array=$(sbatch --parsable --array="1-$parts" "$@" "$here/part.sh" "$spec")
# Where a part fails for good the merge can never start: it is then dropped.
merge=$(sbatch --parsable --dependency="afterok:$array" --kill-on-invalid-dep=yes "$@" "$here/merge.sh" "$output")
echo "$array $merge"
