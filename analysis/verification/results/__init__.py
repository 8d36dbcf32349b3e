"""What a verification found, as frozen data, and its report for other programs."""
