"""What all tests share: one BLAS thread, as the command has it, and no limits of wall time."""

import os

from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is imported

settings.register_profile("meantide", deadline=None)
settings.load_profile("meantide")
