"""Sheets, cards and labels as PDF: what is told elsewhere, set on paper by typst.

A module here turns what is told into plain data; the template of the same name (`*.typ`) sets it.
Data reaches a template as JSON and never as its source, so that no name can be markup.
"""
