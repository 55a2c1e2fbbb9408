"""What knows nothing of vehicles: curves and the compiled kernels."""
