"""The pages of `etholog help`."""
