#!/usr/bin/env bash
# Trains, validates, calibrates and exports the corrector. Usage: run.sh LIFTING_FOLDER REPOSITORY
set -euo pipefail
cd "$(dirname "$0")"
data=$1 repo=$2 work=$(mktemp -d)
export OMP_NUM_THREADS=1
python train.py --data "$data" --ckpt "$work/held.pt"
python evaluate.py --data "$data" --ckpt "$work/held.pt" --held
python calibrate.py --data "$data" --ckpt "$work/held.pt" --out "$repo/models/lift.json"
python ablate.py --data "$data" --ckpt "$work/held.pt"
python train.py --data "$data" --ckpt "$work/lift.pt" --all --init "$work/held.pt" --steps 5000 --lr 6e-4 --seed 2
python evaluate.py --data "$data" --ckpt "$work/lift.pt" --everybody
python export.py --ckpt "$work/lift.pt" --calibration "$repo/models/lift.json" --out "$repo/models/lift.onnx"
python fixture.py --data "$data" --model "$repo/models/lift.onnx" --out "$repo/fixtures/lift.json"
