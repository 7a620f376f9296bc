"""What all tests share: one BLAS thread, as the command has it, before numpy is imported."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
