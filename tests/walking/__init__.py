"""Walks proved in MuJoCo: some of it by default, all of it with MOTIONHUB_WALKING=full (15 minutes on one core)."""

import os

FULL = os.environ.get("MOTIONHUB_WALKING") == "full"
