"""Arrays in, arrays out: no classes of the domain, no validation, no files.

Layout inside: component first, sample last, so that every operation runs over contiguous memory.
"""
