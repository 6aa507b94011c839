"""What is learned: one session as a record, and the record as a page, a table and a folder of pictures.

Nothing is imported here; take names from the modules. No Qt and no OpenCV: the window shows what is read
here.
"""
