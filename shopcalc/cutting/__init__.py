"""How a cutter meets the wood: engagement, chips, limits and settings."""
