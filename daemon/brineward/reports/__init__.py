"""Reports: a night, week, month or season of one depot on a page to read, print or add up.

Gathered from `records` as plain values, then written as HTML, PDF, CSV or a spreadsheet. Nothing
here opens a journal, and nothing here is fetched from elsewhere: a page is one file.
"""
