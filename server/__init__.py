"""Stillair: drag and downforce areas from a test day on a straight."""

import os

# The fit multiplies thousands of small matrices; a pool of BLAS threads makes each slower, on a busy machine by
# twenty times. Read by OpenBLAS when numpy is first loaded, hence here.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
