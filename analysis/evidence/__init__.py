"""What an audit and the furnace's condition are given, as frozen data that the log book keeps."""
