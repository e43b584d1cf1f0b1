"""An invented farm with a true world behind it: what was really lost, and what the pans showed of it.

Rooms: ``farm`` (who, with which machines, in which fields), ``weather`` (dew, heat, grain and straw), ``losses``
(what is truly lost at a stop), ``catches`` (what the pans then hold and how it is read), ``diary`` (two harvests, stop
by stop), ``truth`` (all of it as one table). Everything is drawn from one seed with ``numpy.random``; nothing here uses
the program's own mathematics or constants, so that its answers can be held against this truth. Equations:
docs/demo-book.md.
"""
