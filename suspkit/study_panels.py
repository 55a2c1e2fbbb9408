"""Controls that move the pictures of studies."""
