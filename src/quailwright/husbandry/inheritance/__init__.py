"""Who descends from whom, how related birds are, and what that brings.

`pedigree` holds who the parents are, or may be; `kinship` reckons how related birds are.
"""
