// What makes the pages quicker; all of them work without it.
