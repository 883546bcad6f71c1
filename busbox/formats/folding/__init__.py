"""Recorded traffic folded: reads that the firmware repeated become polls and untils.

Contract
========
1. A *run* is one or more reads in a row of one address and lanes by one instruction (``pc``), each
   after the same number of idle cycles: the period of the loop. Nothing lies between them. Runs of
   one address, lanes and pc are judged together.
2. *Poll*: there are bits that had one value in the last word of every run, and in no other word.
   The fewest such bits become mask and value; of several choices of one bit, the lowest is taken,
   and this is told.
3. *Until*: the address is a counter: its words only grow, modulo the width. The last word of every
   run is at least N above a word read before, every other word less. Of the possible N, the
   roundest is taken, and the others are told; if none is clearly rounder, the runs are left.
4. A folded step is replayed on the recorded words (:mod:`busbox.formats.folding.proof`): it must
   take the very reads that it stands for. If it does not, the run is left.
5. So under the recorded timing, folded traffic gives the recorded accesses exactly. What is left
   keeps its recorded words, and why it was left is told.
"""

from __future__ import annotations

from busbox.formats.folding.fold import Folded, LoopNote, fold

__all__ = ["Folded", "LoopNote", "fold"]
