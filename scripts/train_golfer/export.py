"""Writes the golfer network as ONNX: weights as fp16, one output `golfer` [1,76] in natural units (net.py).

    python export.py --ckpt golfer.pt --models ../../models      # models/golfer.onnx; compares it with PyTorch
    python export.py --back ../../../shared/lifting --ckpt golfer.pt  # and back, to learn on from; spreads of the lifting files' targets
"""
import argparse
import os

import numpy as np
import onnx
import onnxruntime
import torch
from onnx import TensorProto, helper, numpy_helper

import net as N

import data  # of ../train_lift, whose folder net.py puts on the path


def graph_of(golfer, source):
    """The landmark network's graph up to its last map with the learned weights, then the three layers of net.Golfer."""
    body = golfer.body
    nodes = list(onnx.load(source).graph.node)
    made = {o: n for n in nodes for o in n.output}
    need, todo = set(), [body.last]
    while todo:
        n = made.get(todo.pop())
        if n is not None and n.output[0] not in need:
            need.add(n.output[0])
            todo += n.input
    keep = [n for n in nodes if n.output[0] in need and n.op_type != "Cast"]
    inits, casts = [], []

    def put(name, value):
        value = np.asarray(value, np.float32)
        if value.size < 256:
            inits.append(numpy_helper.from_array(value, name))
            return
        inits.append(numpy_helper.from_array(value.astype(np.float16), name + "_h"))
        casts.append(helper.make_node("Cast", [name + "_h"], [name], to=TensorProto.FLOAT))

    used = {i for n in keep for i in n.input}
    for name in sorted(used & (set(body.weight) | set(body.const))):
        if name in body.weight:
            put(name, body.weight[name].detach().numpy())
        else:
            inits.append(numpy_helper.from_array(body.const[name].numpy(), name))
    V, g = N.VALUES, lambda t: t.detach().numpy()
    # the spread of a value goes into the last layers, so that the output is in natural units
    put("g_wide", g(golfer.wide.weight).T), put("g_wide_b", g(golfer.wide.bias))
    put("g_head", (g(golfer.head.weight)[:V] * g(golfer.sd)[:, None]).T)
    put("g_skip", (g(golfer.skip.weight) * g(golfer.sd)[:, None]).T)
    put("g_bias", (g(golfer.head.bias)[:V] + g(golfer.skip.bias)) * g(golfer.sd) + g(golfer.mean))
    tail = [
        helper.make_node("Flatten", [body.last], ["g_flat"], axis=1),
        helper.make_node("MatMul", ["g_flat", "g_wide"], ["g_1"]), helper.make_node("Add", ["g_1", "g_wide_b"], ["g_2"]),
        helper.make_node("Relu", ["g_2"], ["g_3"]), helper.make_node("MatMul", ["g_3", "g_head"], ["g_4"]),
        helper.make_node("MatMul", ["g_flat", "g_skip"], ["g_5"]), helper.make_node("Add", ["g_4", "g_5"], ["g_6"]),
        helper.make_node("Add", ["g_6", "g_bias"], ["golfer"]),
    ]
    graph = helper.make_graph(casts + keep + tail, "golfer", [helper.make_tensor_value_info(body.inp, TensorProto.FLOAT, [1, 3, 256, 256])],
                              [helper.make_tensor_value_info("golfer", TensorProto.FLOAT, [1, V])], inits)
    return graph


def back(models, lifting):
    """A golfer network that says what models/golfer.onnx says. What the file does not hold is made up anew: the spreads, and the
    sd that it states while it learns (0.12 spreads, about what its errors are)."""
    rows = data.read(lifting, ["train_0", "wide_0", "wild_0"])
    t = N.targets(rows.truth, rows.roi[0], rows.focal[rows.row], rows.pose[rows.row])
    mean, sd = t.mean(0), t.std(0).clamp_min(1e-3)
    golfer = N.Golfer(os.path.join(models, "pose_landmark_full.onnx"), (mean, sd))
    said = {i.name.removesuffix("_h"): torch.tensor(numpy_helper.to_array(i).astype(np.float32)) for i in onnx.load(os.path.join(models, "golfer.onnx")).graph.initializer}
    V = N.VALUES
    with torch.no_grad():
        for name, weight in golfer.body.weight.items():
            weight.copy_(said[name].reshape(weight.shape))
        golfer.wide.weight.copy_(said["g_wide"].T), golfer.wide.bias.copy_(said["g_wide_b"])
        golfer.head.weight[:V] = said["g_head"].T / sd[:, None]
        golfer.skip.weight.copy_(said["g_skip"].T / sd[:, None]), golfer.skip.bias.copy_((said["g_bias"] - mean) / sd)
        golfer.head.weight[V:], golfer.head.bias[:V], golfer.head.bias[V:] = 0.0, 0.0, float(np.log(0.12))
    return golfer


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--back", default="", metavar="LIFTING", help="write the shipped network as a checkpoint instead")
    a.add_argument("--ckpt", required=True)
    a.add_argument("--models", default="../../models")
    args = a.parse_args()
    if args.back:
        torch.save(back(args.models, args.back).state_dict(), args.ckpt)
        return
    source = os.path.join(args.models, "pose_landmark_full.onnx")
    golfer = N.Golfer(source)
    golfer.load_state_dict(torch.load(args.ckpt, map_location="cpu"))
    golfer.eval()
    old = onnx.load(source)
    model = helper.make_model(graph_of(golfer, source), opset_imports=old.opset_import, ir_version=old.ir_version)
    model.doc_string = "hubgauge golfer network; made by scripts/train_golfer (see models/golfer.md)"
    onnx.checker.check_model(model)
    path = os.path.join(args.models, "golfer.onnx")
    onnx.save(model, path + ".part")
    os.replace(path + ".part", path)
    run = onnxruntime.InferenceSession(path, providers=["CPUExecutionProvider"])
    x = torch.rand(1, 3, 256, 256, generator=torch.Generator().manual_seed(1))
    with torch.no_grad():
        want = golfer(x)[0].numpy()
    got = run.run(None, {golfer.body.inp: x.numpy()})[0]
    print(f"{os.path.getsize(path)} bytes; largest difference from PyTorch {np.abs((got - want) / golfer.sd.numpy()).max():.4f} spreads")


if __name__ == "__main__":
    main()
