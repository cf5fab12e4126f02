"""What holds for every test."""

import os

os.environ.setdefault("COILWRIGHT_CACHE", "off")  # a solved machine of an earlier run answers for no test
