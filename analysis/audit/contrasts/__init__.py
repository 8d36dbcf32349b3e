"""The case of an audit: suspect run beside good ones, what differs, and the scale that weighs it."""
