"""Markers to trajectories that keep an impact: how rough a motion the plates ask for, and what smooths it."""
