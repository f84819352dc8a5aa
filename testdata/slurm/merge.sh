#!/usr/bin/env bash
# Joins the parts when all tasks of the array are done. Submitted by submit.sh.
#SBATCH --job-name=relaysweep-merge
#SBATCH --requeue
#SBATCH --open-mode=append
set -euo pipefail
exec "$RELAYSWEEP" merge "$1"
