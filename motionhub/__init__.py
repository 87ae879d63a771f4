"""motionhub: from moves as data to a walking robot that performs them."""

__version__ = "0.1.0"
