"""Packed model, equations of motion, stepper and the runs."""
