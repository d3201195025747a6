"""For every room: invented inputs are the same in each run, and a busy machine fails no test."""

from hypothesis import settings

settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")
