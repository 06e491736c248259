#!/usr/bin/env bash
# Renders golfers, teaches the golfer network on them and writes down what it says of all of them. Needs one CUDA card or
# more, cupy, 200 GB of memory for the squares; 20 minutes on four H200.
# Usage: run.sh LIFTING_FOLDER BODIES_FOLDER REPOSITORY WORK_FOLDER
# Leaves WORK/rows (for ../train_lift/run.sh's EXTRA_FOLDER), WORK/fresh (FRESH_FOLDER: unseen people) and models/golfer.onnx.
set -euo pipefail
lifting=$(realpath "$1") bodies=$(realpath "$2") repo=$(realpath "$3") work=$(realpath -m "$4")
cards=$(nvidia-smi -L | wc -l)
mkdir -p "$work/rows" "$work/fresh" "$work/crops"
export OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=2
cd "$repo/scripts/render_bodies"
python motion.py "$lifting" "$bodies" "$work/library.npz"
render() { # card seed out options: six of these fit on a card
  CUDA_VISIBLE_DEVICES=$(($1 % cards)) python make.py --bodies "$bodies" --library "$work/library.npz" --models "$repo/models" --crops "$work/crops" \
    --networks full --file 100000 --workers 2 --seed "$2" --out "$work/$3" "${@:4}" &
}
for i in $(seq 1 $((6 * cards))); do render "$i" $((340 + i)) rows --kinds 0.6,0.25,0.15 --swings 100000 --limit 480; done
for i in 1 2; do render "$i" $((900 + i)) fresh --names m1,f1,m7 --same-time --whole 0.6 --kinds 0.7,0.3,0 --swings 260; done
wait
cp "$work"/fresh/*.npz "$work/rows/"
cd "$repo/scripts/train_golfer"
set -- --rows "$work/rows" --crops "$work/crops" --lifting "$lifting" --models "$repo/models" --ckpt "$work/golfer.pt"
torchrun --nproc-per-node "$cards" learn.py "$@" --half --lr 1e-3 --seconds 600
torchrun --nproc-per-node "$cards" learn.py "$@" --read "$work/rows"
mv "$work"/rows/golfer_90?.npy "$work/fresh/"
rm "$work"/rows/extra_90?_0.npz
python export.py --ckpt "$work/golfer.pt" --models "$repo/models"
