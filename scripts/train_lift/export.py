"""Writes the trained networks as one ONNX file: their mean, weights as fp16 and int8, fixed shapes, plain operations.

    python export.py --ckpt script.pt,lift.pt --out ../../models/lift.onnx
    python export.py --back ../../models/lift.onnx --out FOLDER                 # and back: FOLDER/1.pt ..., to learn on from

Inputs `x` [1,64,398] and `mask` [1,64] (1 = a frame, 0 = padding); outputs `frame` [1,64,70], `frame_sd`,
`clip` [1,4], `clip_sd`. Checks the file against PyTorch and prints the largest difference in sd.
"""
import argparse
import json
import os

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper

from augment import FEATURES
from evaluate import load_net

FRAMES = 64


def halve(model):
    """Large fp32 initialisers become fp16 with a Cast in front of their use; matrices inside the layers (both sides whole
    heads of 32) become int8 with a scale a row or column, whichever is truer."""
    graph = model.graph
    casts, scales = [], []
    for init in list(graph.initializer):
        if init.data_type != TensorProto.FLOAT or np.prod(init.dims) < 256:
            continue
        a, name = numpy_helper.to_array(init), init.name
        if len(init.dims) == 2 and all(d % 32 == 0 for d in init.dims):
            both = [np.maximum(np.abs(a).max(k, keepdims=True) / 127, 1e-9).astype(np.float32) for k in (0, 1)]
            s = min(both, key=lambda s: np.square(np.round(a / s) * s - a).sum())
            init.CopyFrom(numpy_helper.from_array(np.round(a / s).astype(np.int8), name + "_q"))
            scales.append(numpy_helper.from_array(s, name + "_s"))
            casts += [helper.make_node("Mul", [name + "_f", name + "_s"], [name]), helper.make_node("Cast", [name + "_q"], [name + "_f"], to=TensorProto.FLOAT)]
        else:
            init.CopyFrom(numpy_helper.from_array(a.astype(np.float16), name + "_h"))
            casts.append(helper.make_node("Cast", [name + "_h"], [name], to=TensorProto.FLOAT))
    graph.initializer.extend(scales)
    for c in casts:
        graph.node.insert(0, c)
    return model


LAYERS = ("q", "k", "v", "o", "up", "down")


def back(path, folder):
    """The checkpoints of a shipped file, with the weights as it holds them."""
    graph = onnx.load(path).graph
    value = {i.name: numpy_helper.to_array(i) for i in graph.initializer}
    for n in graph.node:
        if n.op_type == "Cast" and n.input[0] in value:
            value[n.output[0]] = value[n.input[0]].astype(np.float32)
    for n in graph.node:
        if n.op_type == "Mul" and all(i in value for i in n.input):
            value[n.output[0]] = value[n.input[0]] * value[n.input[1]]
    # matrices have lost their names and kept their order
    matrices = iter([value[n.input[1]] for n in graph.node if n.op_type == "MatMul" and n.input[1] in value])
    count = len({n.split(".")[1] for n in value if n.startswith("nets.")})
    for k in range(count):
        named = {n.removeprefix(f"nets.{k}.").removesuffix("_h"): v for n, v in value.items() if n.startswith(f"nets.{k}.")}
        state = {n: torch.tensor(v, dtype=torch.float32) for n, v in named.items()}
        depth = len({n.split(".")[1] for n in state if n.startswith("blocks.")})
        for name in ["embed", "mix.1", *(f"blocks.{b}.{x}" for b in range(depth) for x in LAYERS), "deep", "out", "skip"]:
            state[f"{name}.weight"] = torch.tensor(next(matrices).T.copy())
        torch.save(state, os.path.join(folder, f"{k + 1}.pt"))
        load_net(os.path.join(folder, f"{k + 1}.pt"))


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--ckpt", default="lift.pt")
    a.add_argument("--back", default="", help="a shipped file instead: its checkpoints into the folder OUT")
    a.add_argument("--out", default="lift.onnx")
    a.add_argument("--calibration", default="", help="lift.json: its factors go into the file's sd")
    args = a.parse_args()
    if args.back:
        return back(args.back, args.out)
    net = load_net(args.ckpt)
    if args.calibration:
        ship = json.load(open(args.calibration))["calibration"]["ship"]
        f = [v["factor"] for v in ship["outputs"].values()]
        f.insert(2, 1.0)  # the lower hub's depth is zero by definition
        net.f_factor = torch.tensor(f)
        net.c_factor = torch.tensor([v["factor"] for v in ship["camera"].values()])
    one = net.nets[0] if hasattr(net, "nets") else net
    x, mask = torch.randn(1, FRAMES, FEATURES) * one.x_sd + one.x_mean, torch.ones(1, FRAMES)
    mask[0, 40:] = 0
    torch.onnx.export(net, (x, mask), args.out, input_names=["x", "mask"], output_names=["frame", "frame_sd", "clip", "clip_sd"],
                      opset_version=17, dynamo=False, do_constant_folding=True)
    model = halve(onnx.load(args.out))
    model.doc_string = "hubgauge corrector; made by scripts/train_lift (see models/lift.md)"
    onnx.checker.check_model(model)
    onnx.save(model, args.out)
    import onnxruntime

    run = onnxruntime.InferenceSession(args.out, providers=["CPUExecutionProvider"])
    got = run.run(None, {"x": x.numpy(), "mask": mask.numpy()})
    with torch.no_grad():
        want = net(x, mask)
    d = np.abs(got[0] - want[0].numpy())[0, :40] / want[1].numpy()[0, :40]
    print(f"difference from PyTorch: median {np.median(d):.4f}, largest {d.max():.4f} sd (frame), largest {np.abs((got[2] - want[2].numpy()) / want[3].numpy()).max():.4f} sd (clip)")
    print(f"{len(model.SerializeToString())} bytes, operations: {sorted({n.op_type for n in model.graph.node})}")


if __name__ == "__main__":
    main()
