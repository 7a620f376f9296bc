"""Property tests here have no time limit: a busy machine must not make them fail."""

from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
