"""Photos with known truth: chromatograms drawn on paper, laid on the card and photographed.

``render(scene)`` gives the JPEG and the truth, ``foretell(scene)`` the truth alone; :mod:`webcapture.synthetic.scenes` draws scenes of each class by seed.

::

    scene.py         what is photographed and how: frozen descriptions
    transport.py     how a spot of dye travels        paper.py    how load and fibres look
    pencil.py        lines, marks, letters            chromatogram.py   a strip's picture and its truth
    camera.py        where a place appears            layers.py   pictures on the table, seen by the camera
    light.py         gradients, shadows, glare        surroundings.py   bench, papers, the printed card
    development.py   from light to JPEG               photograph.py     all of it together
    truth.py         what is known                    known.py    from what was painted to what is known
    classes.py       ranges to draw from              papers.py, shots.py   drawing strips and cameras at random
    scenes.py        typical, hard, tray by seed      adverse.py  photos that go wrong, and what must be said of them
    workshop.py      the shipped scenario of the demonstration
"""

from __future__ import annotations

from webcapture.synthetic.photograph import foretell, render
from webcapture.synthetic.scene import Scene
from webcapture.synthetic.truth import LaneTruth, Photograph, SpotTruth, StripTruth, Truth

__all__ = ["LaneTruth", "Photograph", "Scene", "SpotTruth", "StripTruth", "Truth", "foretell", "render"]
