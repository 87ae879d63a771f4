"""Moves, poses, routines, recordings and calibration on disk, kept so that a save survives a crash."""
