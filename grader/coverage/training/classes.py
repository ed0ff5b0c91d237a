"""Class numbers of pixels, as ``NAME_mask.png`` holds them; the model card lists all."""

BACKGROUND, MASK, LAMINATE, FINGER, PAD, TIN, COPPER, PART, BRASS = 0, 2, 3, 4, 5, 6, 7, 9, 10
NEITHER = 11  # counts neither for nor against plating: walls of plated holes, and everything unknown
LOOKALIKES = (LAMINATE, TIN, COPPER, BRASS)
CLASSES = 12
UNKNOWN = 15  # in place of class numbers where there are none
