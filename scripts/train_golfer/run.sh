#!/usr/bin/env bash
# Renders golfers, teaches the golfer network on them and writes down what it says of those that it did not learn from. Needs one
# CUDA card or more (80 GB each), cupy, 200 GB of memory for the squares; half an hour on four H100.
# Usage: run.sh LIFTING_FOLDER BODIES_FOLDER REPOSITORY WORK_FOLDER FIRST_SEED [CHECKPOINT to learn on from]
# Leaves WORK/rows (for ../train_lift/run.sh's EXTRA_FOLDER; with a checkpoint "WORK/rows,WORK/learned", read before they were learned from), WORK/fresh
# (FRESH_FOLDER: unseen people) and models/golfer.onnx. Keep the rows: the corrector can do with those of every run (models/lift.md).
# The shipped network: once with seed 341 (480 s of pictures, 600 s of steps), then with 401 from its checkpoint.
set -euo pipefail
lifting=$(realpath "$1") bodies=$(realpath "$2") repo=$(realpath "$3") work=$(realpath -m "$4") seed=$5 from=${6:+$(realpath "$6")}
cards=$(nvidia-smi -L | wc -l)
mkdir -p "$work/learned" "$work/rows" "$work/fresh" "$work/crops"
export OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=2
cd "$repo/scripts/render_bodies"
python motion.py "$lifting" "$bodies" "$work/library.npz"
render() { # card seed out options: five of these on a card of 80 GB once ran out of memory
  CUDA_VISIBLE_DEVICES=$(($1 % cards)) python make.py --bodies "$bodies" --library "$work/library.npz" --models "$repo/models" --crops "$work/crops" \
    --networks full --file 100000 --workers 2 --seed "$2" --out "$work/$3" "${@:4}" &
}
swings="--kinds 0.6,0.25,0.15 --swings 100000 --limit 330"
held=$(python -c 'import sys; sys.path.insert(0, "../train_lift"); import data; print(",".join(data.HELD))')
known=$(python -c 'import make, sys; print(",".join(b for b in make.BODIES if b not in sys.argv[1].split(",")))' "$held")
for i in $(seq 1 $((2 * cards))); do render "$i" $((seed + i - 1)) learned $swings --digits 0123456 --names "$known"; done
for i in $(seq 1 $((2 * cards))); do render "$i" $((seed + 2 * cards + i - 1)) rows $swings --digits 789; done
for i in 1 2; do render "$i" $((900 + i)) fresh --names "$held" --same-time --whole 0.6 --kinds 0.7,0.3,0 --swings 260; done
wait
cp "$work"/fresh/*.npz "$work/rows/"
cd "$repo/scripts/train_golfer"
set -- --crops "$work/crops" --lifting "$lifting" --models "$repo/models"
if [ -n "$from" ]; then torchrun --nproc-per-node "$cards" learn.py "$@" --ckpt "$from" --rows "$work/learned" --read "$work/learned" --name before; fi
set -- "$@" --ckpt "$work/golfer.pt"
torchrun --nproc-per-node "$cards" learn.py "$@" --rows "$work/learned,$work/rows" --half --lr 1e-3 --seconds 1000 ${from:+--init "$from"}
torchrun --nproc-per-node "$cards" learn.py "$@" --rows "$work/rows" --read "$work/rows"
mv "$work"/rows/golfer_90?.npy "$work/fresh/"
rm "$work"/rows/extra_90?_0.npz
python export.py --ckpt "$work/golfer.pt" --models "$repo/models"
