#!/usr/bin/env python3
"""Make the pose networks of models/ from the npm package that ships them.

    python3 convert.py [--models DIR]

Needs python3 with venv, npm and the package registries. Makes a throw-away virtual environment
from requirements.txt, fetches the package, checks the TensorFlow Lite files' hashes, converts
them and checks the results against models/SHA256SUMS before it puts them in place.
"""
import argparse
import hashlib
import os
import pathlib
import subprocess
import sys
import tempfile
import venv

HERE = pathlib.Path(__file__).resolve().parent
PACKAGE = "@mediapipe/pose@0.5.1675469404"


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--models", type=pathlib.Path, default=HERE.parents[1] / "models")
    models = parser.parse_args().models
    with tempfile.TemporaryDirectory() as work:
        venv.create(f"{work}/venv", with_pip=True)
        python = f"{work}/venv/bin/python"
        subprocess.run([python, "-m", "pip", "install", "-q", "-r", HERE / "requirements.txt"], check=True)
        packed = subprocess.run(["npm", "pack", "--silent", PACKAGE], cwd=work, check=True, text=True, stdout=subprocess.PIPE)
        archive = f"{work}/{packed.stdout.split()[-1]}"
        subprocess.run([python, HERE / "tflite_to_onnx.py", archive, PACKAGE, work], check=True)
        check(models / "SHA256SUMS", pathlib.Path(work))
        for made in pathlib.Path(work).glob("*.onnx"):
            part = models / f"{made.name}.part"
            part.write_bytes(made.read_bytes())
            os.replace(part, models / made.name)


def check(sums, folder):
    """Every pose network that was made has the listed hash."""
    listed = dict(reversed(line.split()) for line in sums.read_text().splitlines())
    for made in sorted(folder.glob("*.onnx")):
        if hashlib.sha256(made.read_bytes()).hexdigest() != listed.get(made.name):
            sys.exit(f"{made.name} is not the file listed in {sums}; nothing was replaced")
        print(f"{made.name}: as listed")


if __name__ == "__main__":
    main()
