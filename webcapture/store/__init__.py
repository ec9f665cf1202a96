"""RESULT TO DISK: the records of practicals, stations, photos and corrections. The only package that writes."""
