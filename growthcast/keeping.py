"""Keeping a book from Python: what commands that write do, and the hours of a month.

Every function that writes takes the book's folder, works under its lock, keeps a journal, and
leaves the old files whole where it is interrupted. ``today`` is an argument, for the answer not to
depend on the clock.

>>> from datetime import date
>>> import growthcast
>>> book = growthcast.demo_book()
>>> work = growthcast.keeping.month_of_work(book, growthcast.fit_growth(book), date(2026, 10, 1))
>>> work.month
'2026-10'
"""

from growthcast.book.begin.diary import plan_import as plan_import
from growthcast.book.begin.diary import propose_meanings as propose_meanings
from growthcast.book.begin.diary import read_diary as read_diary
from growthcast.book.begin.diary import understand_diary as understand_diary
from growthcast.book.begin.diary import write_import as write_import
from growthcast.book.begin.start import start_book as start_book
from growthcast.book.sheets.export import export_book as export_book
from growthcast.book.writing.append import add_rows as add_rows
from growthcast.book.writing.areas import move_bounds as move_bounds
from growthcast.book.writing.areas import replace_area as replace_area
from growthcast.book.writing.areas import retire as retire
from growthcast.book.writing.unlog import change_visit as change_visit
from growthcast.book.writing.unlog import take_back as take_back
from growthcast.service.effort.hours import learn_fixed_minutes as learn_fixed_minutes
from growthcast.service.effort.hours import month_of_work as month_of_work
from growthcast.service.effort.learn import learn_timing as learn_timing
