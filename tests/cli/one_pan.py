"""The check file most command-line tests start from."""

ONE_PAN = """
crop = "canola"
yield = "45 bu/ac"
price = "14.50 /bu"
limit = "1 bu/ac"
[combine]
cut_width = "40 ft"
drop_width = "66 in"
[[catch]]
place = "discharge"
pan = "4 ft2"
amount = "12.5 g"
step = "0.1 g"
"""
