"""A round trip with Python's serial library, for comparison: roundtrip.py PATH COUNT."""
import sys
import time

import serial

line = serial.Serial(sys.argv[1], 115200, timeout=10)
took = []
for _ in range(int(sys.argv[2])):
    began = time.perf_counter_ns()
    line.write(b"M105\n")
    if not line.readline().endswith(b"\n"):
        sys.exit("no answer")
    took.append(time.perf_counter_ns() - began)
print("\n".join(map(str, took)))
