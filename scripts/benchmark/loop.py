"""What hubgauge is compared with: a plain Python loop over every frame of a clip.

    python loop.py CLIP [full|heavy]

ffmpeg decodes to RGB through a pipe; the same ONNX networks run in ONNX Runtime with two
threads; the region of interest follows the landmarks and the detector is asked again only when
the person is lost. Pre- and post-processing are those of scripts/convert_pose/reference.py
(numpy). No camera motion, smoothing, lifting, events or files: the loop does less.
"""
import json
import pathlib
import subprocess
import sys
import time

import numpy as np
import onnxruntime as ort

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "scripts" / "convert_pose"))
import reference  # noqa: E402


def size_of(clip):
    probe = ["ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries",
             "stream=width,height", "-of", "json", clip]
    stream = json.loads(subprocess.check_output(probe))["streams"][0]
    return stream["width"], stream["height"]


def session(name):
    options = ort.SessionOptions()
    options.intra_op_num_threads = 2
    path = str(ROOT / "models" / f"{name}.onnx")
    return ort.InferenceSession(path, options, providers=["CPUExecutionProvider"])


def main():
    clip, accuracy = sys.argv[1], (sys.argv[2:] or ["full"])[0]
    width, height = size_of(clip)
    start = time.perf_counter()
    detector, network = session("pose_detection"), session(f"pose_landmark_{accuracy}")
    command = ["ffmpeg", "-v", "error", "-i", clip, "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
    pipe = subprocess.Popen(command, stdout=subprocess.PIPE)
    region, frames, seen = None, 0, 0
    while len(raw := pipe.stdout.read(width * height * 3)) == width * height * 3:
        picture = np.frombuffer(raw, np.uint8).reshape(height, width, 3).astype(np.float64)
        frames += 1
        if region is None:
            found = reference.detect(detector, picture)
            region = found[0]["roi"] if found else None
        if region is not None:
            person = reference.landmarks(network, picture, region)
            region = person["next_roi"] if person["flag"] >= 0.5 else None
            seen += region is not None
    pipe.wait()
    print(json.dumps({"frames": frames, "seen": seen, "wall_s": time.perf_counter() - start}))


main()
