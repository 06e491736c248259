#!/usr/bin/env bash
# Renders golfers, teaches the golfer network on them and writes down what it says of those that it did not learn from. Needs one
# CUDA card or more (80 GB each), cupy, 60 GB of memory a card for the squares; half an hour on four H200.
# Usage: run.sh LIFTING_FOLDER BODIES_FOLDER PEOPLE_FILE REPOSITORY WORK_FOLDER FIRST_SEED [CHECKPOINT to learn on from]
# PEOPLE_FILE: of ../render_bodies/people.py.
# Leaves WORK/rows (for ../train_lift/run.sh's EXTRA_FOLDER; with a checkpoint "WORK/rows,WORK/learned", whose rows it spoke of before they were
# learned from), WORK/fresh (FRESH_FOLDER: unseen people) and models/golfer.onnx.
# The shipped network: once with seed 341 (480 s of pictures, 600 s of steps), with 401 from its checkpoint (330 s, 1,000 s), with 501 from that, all with
# make.py --apart 0, all without PEOPLE_FILE. With 601 from that, bodies as make.py shapes them now, it came out no better (models/golfer.md) and only the corrector learned from the rows.
# With 701 and PEOPLE_FILE (400 s, 480 s) from the third; of the third and this one the mean of the weights is shipped, and rows 801 to 820 for the corrector were read by that.
set -euo pipefail
lifting=$(realpath "$1") bodies=$(realpath "$2") people=$(realpath "$3") repo=$(realpath "$4") work=$(realpath -m "$5") seed=$6 from=${7:+$(realpath "$7")}
cards=$(nvidia-smi -L | wc -l)
mkdir -p "$work/learned" "$work/rows" "$work/fresh" "$work/crops" "$work/mps"
export OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=2
cd "$repo/scripts/render_bodies"
python motion.py "$lifting" "$bodies" "$work/library.npz"
# five renderers side by side on a card make 800 pictures a second where the card runs their work at the same time (NVIDIA's multi-process
# service), 300 where they take turns
export CUDA_MPS_PIPE_DIRECTORY="$work/mps" CUDA_MPS_LOG_DIRECTORY="$work/mps"
nvidia-cuda-mps-control -d || true
n=0
render() { # seed out options
  n=$((n + 1))
  CUDA_VISIBLE_DEVICES=$((n % cards)) python make.py --bodies "$bodies" --library "$work/library.npz" --models "$repo/models" --networks full --file 100000 \
    --workers 3 --card 0.19 ${from:+--golfer "$from"} --crops "$work/crops" --seed "$1" --out "$work/$2" "${@:3}" &
}
swings="--kinds 0.6,0.25,0.15 --swings 100000 --whole 0.2 --limit 310"
held=$(python -c 'import sys; sys.path.insert(0, "../train_lift"); import data; print(",".join(data.HELD))')
known=$(python -c 'import make, sys; print(",".join(b for b in make.BODIES if b not in sys.argv[1].split(",")))' "$held")
alike="--apart 0 --same-time --whole 0.6 --kinds 0.7,0.3,0"
for i in 1 2; do render $((900 + i)) fresh --names "$held" $alike --swings 260; done
# of new people the network learns from those whose number ends in 0 to 6
for i in 11 12; do render $((900 + i)) fresh --people "$people" --share 1 --digits 789 $alike --swings 660; done
for i in $(seq 0 $((3 * cards - 1))); do render $((seed + i)) learned $swings --digits 0123456 --names "$known" --people "$people"; done
for i in $(seq 0 $((cards - 1))); do render $((seed + 3 * cards + i)) rows $swings --digits 789 --people "$people"; done
wait
echo quit | nvidia-cuda-mps-control || true
unset CUDA_MPS_PIPE_DIRECTORY CUDA_MPS_LOG_DIRECTORY
cp "$work"/fresh/*.npz "$work/rows/"
cd "$repo/scripts/train_golfer"
set -- --crops "$work/crops" --lifting "$lifting" --models "$repo/models" --ckpt "$work/golfer.pt"
torchrun --nproc-per-node "$cards" learn.py "$@" --rows "$work/learned,$work/rows" --half --lr 1e-3 --seconds 680 ${from:+--init "$from"}
torchrun --nproc-per-node "$cards" learn.py "$@" --rows "$work/rows" --read "$work/rows"
mv "$work"/rows/golfer_9??.npy "$work/fresh/"
rm "$work"/rows/extra_9??_0.npz
python export.py --ckpt "$work/golfer.pt" --models "$repo/models"
