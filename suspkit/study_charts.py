"""Pictures of studies: roll, springs to choose from, how sure, what the tape says."""
