#!/usr/bin/env bash
# One task of the array: does its part of the job, or goes on with it. Submitted
# by submit.sh.
#SBATCH --job-name=relaysweep-part
# After the failure of a node the task is started again, on another one.
#SBATCH --requeue
#SBATCH --open-mode=append
# A minute before the time limit the part is stopped in good order.
#SBATCH --signal=B:TERM@60
set -uo pipefail
spec=$1
restarts_most=20

GOMAXPROCS=${SLURM_CPUS_ON_NODE:-1} "$RELAYSWEEP" run --quiet \
  --part "$SLURM_ARRAY_TASK_ID/$SLURM_ARRAY_TASK_COUNT" "$spec" &
run=$!
trap 'kill -TERM "$run" 2>/dev/null' TERM
wait "$run"
code=$?
# A signal to this script ends the first wait, not the run.
while kill -0 "$run" 2>/dev/null; do
  wait "$run"
  code=$?
done

# Interrupted, or killed for want of memory or by hand: what is in the journal is
# gone on from. Other failures need someone to look at them.
if [ "$code" -ge 128 ] && [ "${SLURM_RESTART_COUNT:-0}" -lt "$restarts_most" ]; then
  echo "part $SLURM_ARRAY_TASK_ID ended with $code, and goes on in a new start"
  scontrol requeue "${SLURM_ARRAY_JOB_ID}_$SLURM_ARRAY_TASK_ID"
  # Slurm ends this script now; it must not end by itself as done or failed.
  sleep 600
fi
exit "$code"
