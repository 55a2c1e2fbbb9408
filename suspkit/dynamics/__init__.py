"""The vehicle driven over a road."""
