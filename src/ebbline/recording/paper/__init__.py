"""From paper: a photograph or a scan of a strip becomes a recording.

pictures      files to images: JPEG, PNG, TIFF, pages of a PDF
flatten       uneven light taken out; ink as darkness, coloured grids left faint
perspective   the grid's two vanishing points, and the view straightened by them
lattice       the grid's lines followed by their phase: curl and lens taken out too
panels        where the heart-rate paper and the activity paper lie
figures       the numbers printed beside the paper, read by shape, believed where they agree
trace         the pen's path, column by column, gaps left open
reading       all steps in order, each kept so that a person can check it
"""
