"""Walks proved in MuJoCo: some of it by default, all of it with MOTIONHUB_WALKING=full (a quarter of an hour on one core)."""

import os

FULL = os.environ.get("MOTIONHUB_WALKING") == "full"
