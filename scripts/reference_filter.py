"""Reference numbers for src/signal.rs: scipy's filtfilt with the dual-pass correction.

    python3 -m venv v && v/bin/pip install scipy && v/bin/python scripts/reference_filter.py

Prints the series and the filtered values that the test `agrees_with_scipy` holds.
"""
import math

import numpy as np
import scipy
from scipy.signal import butter, filtfilt

RATE, CUTOFF, N = 60.0, 6.0, 40
C = (math.sqrt(2) - 1) ** 0.25
# scipy's butter pre-warps the frequency it is given; the correction belongs on the warped one
warped = math.tan(math.pi * CUTOFF / RATE) / C
design = math.atan(warped) * RATE / math.pi
x = np.array([math.sin(0.05 * i * i) + 0.02 * i for i in range(N)])
b, a = butter(2, design, fs=RATE)
pad = math.ceil(1.5 * RATE / CUTOFF)
y = filtfilt(b, a, x, padtype="odd", padlen=pad)
print("scipy", scipy.__version__)
print("b", b.tolist(), "a", a.tolist())
print("y", [round(float(v), 9) for v in y])
