"""Frame-and-panel work: from a short table to members, joints, parts, operations, programs and a drawing."""

from shopcalc.frames.members import Arch, Joint, Layout, Member, Opening, Sizes
from shopcalc.frames.records import Frame, Rail

__all__ = ["Arch", "Frame", "Joint", "Layout", "Member", "Opening", "Rail", "Sizes"]
