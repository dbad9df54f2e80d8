"""Deliverables, each made from the result document alone."""
