"""A recorded run as a page that plays itself."""
