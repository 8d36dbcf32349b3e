"""What each sensor, or the packet estimate, says of every hold; gathered once for all judging."""
