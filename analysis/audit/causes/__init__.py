"""The causes an audit can weigh, one file for each place in the work."""
