from __future__ import annotations

import json

import pytest

from motionhub.motion.documents import parse
from motionhub.motion.render import render


@pytest.fixture
def rendered(tansy):
    """Keyframes to frames of Tansy, in one call."""

    def render_it(*keyframes, rate_hz=50.0, **more):
        data = {"format": "motionhub-sequence/1", "name": "test", "keyframes": list(keyframes)} | more
        return render(parse(json.dumps(data), "test.json", tansy), tansy, rate_hz)

    return render_it
