"""Desk: the crew's pages in the browser, served by the crew's own computer.

`server` listens, `guard` lets in, `app` knows the pages. Each page asks the same functions as
the commands and computes nothing by itself; `writing` takes what people enter.
"""
