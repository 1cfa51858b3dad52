"""The manual."""
