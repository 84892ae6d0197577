"""Exercises for those who learn to read patch sheets: a show's paper with faults planted in it, and their marking."""
