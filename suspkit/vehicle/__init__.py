"""The vehicle, its set-up, its corners, its file, and what judges them."""
