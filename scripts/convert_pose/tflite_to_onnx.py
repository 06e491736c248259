"""Convert the BlazePose networks of an npm package archive from TensorFlow Lite to ONNX.

    python tflite_to_onnx.py ARCHIVE PACKAGE OUT    # run by convert.py

Graphs are NCHW end to end (input [1,3,H,W], RGB, float32); weights stay f16 with a Cast. Two
rewrites, both exact up to float rounding: PAD is folded into the convolutions that read it, and
RESIZE_BILINEAR(x) -> 1x1 conv becomes 1x1 conv -> RESIZE_BILINEAR (4x fewer multiplications).
The segmentation output and what only it needs are left out. The output is deterministic.
"""
import hashlib
import pathlib
import sys
import tarfile

import numpy as np
import onnx
from ai_edge_litert import schema_py_generated as S
from onnx import TensorProto as TP, helper as H, numpy_helper as NH

LANDMARK_OUT = ["landmarks", "flag", "segmentation", "heatmap", "world"]
MODELS = {  # onnx name -> (file in the package, sha256, output names in TFLite output order)
    "pose_detection": (  # this .data file is exactly pose_detection.tflite
        "pose_solution_packed_assets.data",
        "a63c614bef30d35947f13be361820b1e4e3bec9cfeebf4d11216a18373108e85", ["boxes", "scores"]),
    "pose_landmark_full": (
        "pose_landmark_full.tflite",
        "e9a5c5cb17f736fafd4c2ec1da3b3d331d6edbe8a0d32395855aeb2cdfd64b9f", LANDMARK_OUT),
    "pose_landmark_heavy": (
        "pose_landmark_heavy.tflite",
        "59e42d71bcd44cbdbabc419f0ff76686595fd265419566bd4009ef703ea8e1fe", LANDMARK_OUT),
}
OPERATORS = {v: k for k, v in vars(S.BuiltinOperator).items() if isinstance(v, int)}
NUMPY = {S.TensorType.FLOAT32: np.float32, S.TensorType.FLOAT16: np.float16, S.TensorType.INT32: np.int32}
DENSE, NO_ACTIVATION = S.DimensionType.DENSE, S.ActivationFunctionType.NONE


def densify(t, vals):
    """Expand a TFLite sparse tensor (traversal order + block map + CSR/dense levels)."""
    sp, n = t.sparsity, len(t.shape)
    bmap = [] if sp.blockMap is None else list(sp.blockMap)
    block = np.ones(n, int)
    for l, d in enumerate(sp.traversalOrder):
        if d >= n:
            block[bmap[d - n]] = sp.dimMetadata[l].denseSize
    pos, idx = np.zeros(1, int), np.zeros((1, n), int)
    for l, d in enumerate(sp.traversalOrder):
        m = sp.dimMetadata[l]
        if m.format == DENSE:
            k, src = np.tile(np.arange(m.denseSize), len(pos)), np.repeat(np.arange(len(pos)), m.denseSize)
            pos = pos[src] * m.denseSize + k
        else:
            seg, ind = np.asarray(m.arraySegments.values, int), np.asarray(m.arrayIndices.values, int)
            src = np.repeat(np.arange(len(pos)), seg[pos + 1] - seg[pos])
            pos = np.concatenate([np.arange(seg[p], seg[p + 1]) for p in pos])
            k = ind[pos]
        idx = idx[src]
        if d < n:
            idx[:, d] += k * block[d]
        else:
            idx[:, bmap[d - n]] += k
    out = np.zeros(t.shape, vals.dtype)
    out[tuple(idx.T)] = vals[pos]
    return out


class Graph:
    """One TFLite network on its way to ONNX."""

    def __init__(s, buf):
        model = S.ModelT.InitFromPackedBuf(buf, 0)
        s.g = model.subgraphs[0]
        s.T = s.g.tensors
        s.const, s.nodes, s.inits, s.ops = {}, [], {}, []
        s.name = {}                # TFLite tensor -> ONNX name
        s.pads, s.late = {}, {}    # tensor -> pads folded into its readers / postponed resize
        for i, t in enumerate(s.T):
            raw = model.buffers[t.buffer].data
            if raw is not None and len(raw):
                v = np.frombuffer(bytes(raw), NUMPY[t.type])
                s.const[i] = densify(t, v) if t.sparsity is not None else v.reshape(t.shape)
        for op in s.g.operators:
            c = model.operatorCodes[op.opcodeIndex]
            kind = OPERATORS[max(c.builtinCode, c.deprecatedBuiltinCode)]
            if kind in ("DENSIFY", "DEQUANTIZE"):  # of constants; f16 stays f16
                s.const[op.outputs[0]] = s.const[op.inputs[0]]
            else:
                s.ops.append((kind, list(op.inputs), list(op.outputs), op.builtinOptions))
        s.users = {}
        for j, (_, ins, _, _) in enumerate(s.ops):
            for t in ins:
                s.users.setdefault(t, []).append(j)

    def init(s, key, v):
        """A constant; f16 is widened by a Cast."""
        if key not in s.inits:
            half = v.dtype == np.float16
            s.inits[key] = NH.from_array(np.ascontiguousarray(v), f"{key}_h" if half else key)
            if half:
                s.nodes.insert(0, H.make_node("Cast", [f"{key}_h"], [key], to=TP.FLOAT))
        return key

    def add(s, op, ins, out, **kw):
        s.nodes.append(H.make_node(op, ins, [out], **kw))
        return out

    def act(s, fn, x, out):
        if fn == NO_ACTIVATION:
            return x
        if fn == S.ActivationFunctionType.RELU:
            return s.add("Relu", [x], out)
        assert fn == S.ActivationFunctionType.RELU6
        return s.add("Clip", [x, s.init("zero", np.float32(0)), s.init("six", np.float32(6))], out)

    def convolve(s, kind, ins, x, in_hw, opt, pad, out):
        w, b = s.const[ins[1]], s.const[ins[2]]
        depthwise = kind.startswith("DEPTH")
        w, group = (w.transpose(3, 0, 1, 2), w.shape[3]) if depthwise else (w.transpose(0, 3, 1, 2), 1)
        k, st = w.shape[2:], (opt.strideH, opt.strideW)
        assert (opt.dilationHFactor, opt.dilationWFactor) == (1, 1)
        if opt.padding == S.Padding.SAME:
            tot = [max((-(-n // q) - 1) * q + r - n, 0) for n, q, r in zip(in_hw, st, k)]
            pad = [pad[0] + tot[0] // 2, pad[1] + tot[1] // 2,
                   pad[2] + tot[0] - tot[0] // 2, pad[3] + tot[1] - tot[1] // 2]
        return s.add("Conv", [x, s.init(f"w{ins[1]}_{group}", w), s.init(f"b{ins[2]}", b)], out,
                     kernel_shape=k, strides=st, pads=[int(v) for v in pad], group=int(group))

    def resize(s, x, out):
        return s.add("Resize", [x, "", s.init("scale2", np.float32([1, 1, 2, 2]))], out, mode="linear",
                     coordinate_transformation_mode="half_pixel")

    def op_pad(s, kind, ins, o, opt, x):
        p = s.const[ins[1]]
        if p[3].sum() == 0 and all(s.ops[j][0].endswith("CONV_2D") for j in s.users[o]):
            s.pads[o] = [p[1, 0], p[2, 0], p[1, 1], p[2, 1]]
            return x
        # The heavy network also pads channels, in front of a residual add.
        amounts = p[[0, 3, 1, 2]].T.reshape(-1).astype(np.int64)
        return s.add("Pad", [x, s.init(f"pads{o}", amounts)], f"t{o}")

    def op_conv_2d(s, kind, ins, o, opt, x):
        if ins[0] in s.late:
            low, hw = s.late[ins[0]]
            y = s.resize(s.convolve(kind, ins, low, hw, opt, [0] * 4, f"t{o}_lo"), f"t{o}_up")
        else:
            plain = opt.fusedActivationFunction == NO_ACTIVATION
            hw, pad = s.T[ins[0]].shape[1:3], s.pads.get(ins[0], [0] * 4)
            y = s.convolve(kind, ins, x, hw, opt, pad, f"t{o}" if plain else f"t{o}_lin")
        return s.act(opt.fusedActivationFunction, y, f"t{o}")

    op_depthwise_conv_2d = op_conv_2d

    def op_resize_bilinear(s, kind, ins, o, opt, x):
        assert opt.halfPixelCenters and not opt.alignCorners
        small = s.T[ins[0]].shape[1:3]
        assert list(s.T[o].shape[1:3]) == [2 * n for n in small]
        readers = [s.ops[j] for j in s.users[o]]
        if all(r[0] == "CONV_2D" and s.const[r[1][1]].shape[1:3] == (1, 1) for r in readers):
            s.late[o] = (x, small)
            return None
        return s.resize(x, f"t{o}")

    def op_add(s, kind, ins, o, opt, x):
        out = f"t{o}_sum" if opt.fusedActivationFunction else f"t{o}"
        return s.act(opt.fusedActivationFunction, s.add("Add", [x, s.name[ins[1]]], out), f"t{o}")

    def op_max_pool_2d(s, kind, ins, o, opt, x):
        assert opt.padding == S.Padding.VALID and opt.fusedActivationFunction == NO_ACTIVATION
        return s.add("MaxPool", [x], f"t{o}", kernel_shape=[opt.filterHeight, opt.filterWidth],
                     strides=[opt.strideH, opt.strideW])

    def op_depth_to_space(s, kind, ins, o, opt, x):
        return s.add("DepthToSpace", [x], f"t{o}", blocksize=opt.blockSize, mode="DCR")

    def op_logistic(s, kind, ins, o, opt, x):
        return s.add("Sigmoid", [x], f"t{o}")

    def op_reshape(s, kind, ins, o, opt, x):
        """Always NHWC -> [1, n] or [1, anchors, values]."""
        if list(s.T[ins[0]].shape[1:3]) != [1, 1]:
            x = s.add("Transpose", [x], f"t{o}_nhwc", perm=[0, 2, 3, 1])
        to = np.int64([1, *s.T[o].shape[1:]])
        return s.add("Reshape", [x, s.init("shape" + "_".join(map(str, to)), to)], f"t{o}")

    def op_concatenation(s, kind, ins, o, opt, x):
        return s.add("Concat", [s.name[i] for i in ins], f"t{o}", axis=opt.axis)

    def build(s, name, outs, package):
        src = s.g.inputs[0]
        _, h, w, c = map(int, s.T[src].shape)
        s.name[src] = "image"
        for kind, ins, (o,), opt in s.ops:
            s.name[o] = getattr(s, f"op_{kind.lower()}")(kind, ins, o, opt, s.name.get(ins[0]))
        keep = [s.output(t, out) for t, out in zip(s.g.outputs, outs) if out != "segmentation"]
        live, nodes = {v.name for v in keep}, []
        for node in reversed(s.nodes):  # drop what the kept outputs do not need
            if live & set(node.output):
                nodes.append(node)
                live |= set(node.input)
        image = H.make_tensor_value_info("image", TP.FLOAT, [1, c, h, w])
        graph = H.make_graph(nodes[::-1], name, [image], keep, [v for v in s.inits.values() if v.name in live])
        origin = (f"BlazePose, from npm {package}, (c) The MediaPipe Authors, Apache-2.0; "
                  "converted from TFLite, modified layout")
        model = H.make_model(graph, opset_imports=[H.make_opsetid("", 13)], ir_version=8,
                             producer_name="convert.py", doc_string=origin)
        onnx.checker.check_model(model, full_check=True)
        return model

    def output(s, t, out):
        """Call tensor t by its output's name."""
        shape = [int(v) for v in s.T[t].shape]
        shape = [1, shape[3], shape[1], shape[2]] if len(shape) == 4 else [1, *shape[1:]]
        for node in s.nodes:
            for names in (node.input, node.output):
                for q, v in enumerate(names):
                    if v == s.name[t]:
                        names[q] = out
        return H.make_tensor_value_info(out, TP.FLOAT, shape)


def main():
    archive, package, out = sys.argv[1:4]
    with tarfile.open(archive) as files:
        for name, (inside, sha, outs) in MODELS.items():
            buf = files.extractfile(f"package/{inside}").read()
            if hashlib.sha256(buf).hexdigest() != sha:
                sys.exit(f"{inside} in {archive} is not the expected file")
            model = Graph(bytearray(buf)).build(name, outs, package)
            (pathlib.Path(out) / f"{name}.onnx").write_bytes(model.SerializeToString(deterministic=True))


if __name__ == "__main__":
    main()
