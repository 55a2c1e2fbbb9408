"""Where the vehicle stands, what each adjustment does to it, and what it asks of the hands."""
