#!/usr/bin/env bash
# Trains, validates, calibrates and exports the corrector on two cores in about 45 minutes.
# Usage: run.sh LIFTING_FOLDER EXTRA_FOLDER FRESH_FOLDER REPOSITORY [train.py options]
# EXTRA_FOLDER, FRESH_FOLDER: files of ../render_bodies/make.py with what the golfer network says of them in each (make.py --golfer)
# or beside it (../train_golfer/learn.py --read); FRESH_FOLDER holds people whom neither network has seen (models/lift.md).
set -euo pipefail
cd "$(dirname "$0")"
data=$1 extra=$2 fresh=$3 repo=$4 work=$(mktemp -d)
shift 4
export OMP_NUM_THREADS=1
both() { # the held-out run, then all bodies
  local name=$1
  shift
  python train.py --data "$data" --extra "$extra" --share 0.65 --steps 11500 --ckpt "$work/${name}_held.pt" "$@"
  python train.py --data "$data" --extra "$extra" --share 0.65 --steps 11500 --ckpt "$work/${name}_all.pt" --all "$@"
}
both one "$@" >"$work/one.log" &
both two --seed 2 --noise 2 --drop 0.1 "$@"
wait $!
held="$work/one_held.pt,$work/two_held.pt" all="$work/one_all.pt,$work/two_all.pt"
python evaluate.py --data "$data" --extra "$fresh" --ckpt "$held" --held
python calibrate.py --data "$data" --extra "$fresh" --ckpt "$held" --out "$repo/models/lift.json"
python ablate.py --data "$data" --ckpt "$held" --every 8
python export.py --ckpt "$all" --calibration "$repo/models/lift.json" --out "$repo/models/lift.onnx"
python fixture.py --data "$data" --extra "$fresh" --model "$repo/models/lift.onnx" --out "$repo/fixtures/lift.json"
