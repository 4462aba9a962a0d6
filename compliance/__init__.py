import os

# The matrices here are small: more threads would only wait for each other, which makes a trend fifty times slower on a
# busy machine. It has to be said before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
