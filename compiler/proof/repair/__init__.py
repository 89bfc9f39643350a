"""What written locking lacks, and what it could do without."""
