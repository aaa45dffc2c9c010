"""Colours of plumage: the loci published, what they make, and the odds of a cross.

`table` reads what is published; `genotypes` reads what a keeper writes; `crosses` reckons chicks;
`guesses` tells what a bird of a look may hide; `hidden` learns it from chicks; `sexing` tells
which chicks show their sex.
"""
