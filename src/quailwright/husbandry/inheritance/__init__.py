"""Who descends from whom, how related birds are, and what that brings.

`pedigree` holds who the parents are, or may be; `kinship` reckons how related birds are, by a walk
through the pedigree (`frontier`); `descent` tells where genes come from and how fast inbreeding
rose, `effective_size` how fast it will, and `depression` what it costs.
"""
