"""Pixels to strips: decode, find the card, rectify, even the light, cut out strips. The home of OpenCV."""

import cv2

# Once, before any thread or fork uses OpenCV: set later, in a forked child, it can hang for ever; and requests already
# run in parallel, so threads inside one of them only get in each other's way.
cv2.setNumThreads(1)
