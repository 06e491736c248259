#!/usr/bin/env bash
# Trains, validates, calibrates and exports the corrector. Usage: run.sh LIFTING_FOLDER EXTRA_FOLDER REPOSITORY [train.py options]
# EXTRA_FOLDER: files made by ../render_bodies/make.py. Two chains of training run side by side, one core each.
set -euo pipefail
cd "$(dirname "$0")"
data=$1 extra=$2 repo=$3 work=$(mktemp -d)
shift 3
export OMP_NUM_THREADS=1
script() { # the lifting files alone
  python train.py --data "$data" --ckpt "$work/script_held.pt" --steps 9000 "$@"
  python train.py --data "$data" --ckpt "$work/script_all.pt" --all --init "$work/script_held.pt" --steps 5000 --lr 6e-4 --seed 2 "$@"
}
wide() { # rendered people too, then landmark noise as large as other clothes and light make it
  local fine=(--init "$work/first.pt" --steps 2000 --lr 6e-4 --noise 2.5 --drop 0.1)
  python train.py --data "$data" --extra "$extra" --ckpt "$work/first.pt" --steps 20000 "$@"
  python train.py --data "$data" --extra "$extra" --ckpt "$work/wide_held.pt" "${fine[@]}" --seed 3 "$@"
  python train.py --data "$data" --extra "$extra" --ckpt "$work/wide_all.pt" --all "${fine[@]}" --seed 2 "$@"
}
script "$@" >"$work/script.log" &
wide "$@"
wait $!
held="$work/script_held.pt,$work/wide_held.pt" all="$work/script_all.pt,$work/wide_all.pt"
python evaluate.py --data "$data" --extra "$extra" --ckpt "$held" --held
python calibrate.py --data "$data" --ckpt "$held" --out "$repo/models/lift.json"
python ablate.py --data "$data" --ckpt "$held" --every 4
python evaluate.py --data "$data" --ckpt "$all" --everybody
python export.py --ckpt "$all" --calibration "$repo/models/lift.json" --out "$repo/models/lift.onnx"
python fixture.py --data "$data" --model "$repo/models/lift.onnx" --out "$repo/fixtures/lift.json"
