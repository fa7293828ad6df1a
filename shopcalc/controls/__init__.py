"""Faces for the notebooks: each control shows the result of one public function and holds no model of its own."""

from shopcalc.controls.bending_picture import BendingControl, bending_control
from shopcalc.controls.both_faces import BothFacesControl, both_faces_control
from shopcalc.controls.carving import CarvingControl, carving_hours
from shopcalc.controls.carving_offers import BeforeArtworkControl, CarvingChoicesControl, before_artwork
from shopcalc.controls.chip_picture import ChipControl, chip_control
from shopcalc.controls.clamps_picture import ClampsControl, clamps_control
from shopcalc.controls.climb_picture import ClimbControl, climb_control
from shopcalc.controls.cutter_tuning import CutterTuningControl, cutter_tuning
from shopcalc.controls.decision import take_this_job, turns_figure
from shopcalc.controls.faces import FacesControl, faces_control
from shopcalc.controls.frame_pictures import days_view, fits_view, panel_view, quantities_view
from shopcalc.controls.frame_to_hours import FrameControl, frame_to_hours
from shopcalc.controls.grain_modes import GrainControl, grain_control
from shopcalc.controls.job_form import JobForm, job_form
from shopcalc.controls.lesson import LessonControl, lesson
from shopcalc.controls.loading_picture import LoadingControl, loading_control, loading_figure
from shopcalc.controls.minutes_picture import MinutesControl, minutes_control
from shopcalc.controls.noise_picture import NoiseControl, noise_control
from shopcalc.controls.program_changes import ComparisonControl, SavingsControl
from shopcalc.controls.program_lines import ProgramLinesControl, program_lines
from shopcalc.controls.program_time import ProgramTimeControl, program_time, straight_move_seconds
from shopcalc.controls.quote_job import QuoteControl, quote_job
from shopcalc.controls.season_play import SeasonControl, season_control
from shopcalc.controls.shapes_picture import ShapesControl, shapes_control
from shopcalc.controls.stations_picture import StationsControl, stations_control
from shopcalc.controls.surface_picture import SurfaceControl, surface_control
from shopcalc.controls.tenons import TenonControl, tenon_control
from shopcalc.controls.today import TodayControl, today_page
from shopcalc.controls.training_view import TrainingControl, training_control
from shopcalc.controls.what_if import WhatIfControl, what_if

__all__ = [
    "BeforeArtworkControl",
    "BendingControl",
    "BothFacesControl",
    "CarvingChoicesControl",
    "CarvingControl",
    "ChipControl",
    "ClampsControl",
    "ClimbControl",
    "ComparisonControl",
    "CutterTuningControl",
    "FacesControl",
    "FrameControl",
    "GrainControl",
    "JobForm",
    "LessonControl",
    "LoadingControl",
    "MinutesControl",
    "NoiseControl",
    "ProgramLinesControl",
    "ProgramTimeControl",
    "QuoteControl",
    "SavingsControl",
    "SeasonControl",
    "ShapesControl",
    "StationsControl",
    "SurfaceControl",
    "TenonControl",
    "TodayControl",
    "TrainingControl",
    "WhatIfControl",
    "before_artwork",
    "bending_control",
    "both_faces_control",
    "carving_hours",
    "chip_control",
    "clamps_control",
    "climb_control",
    "cutter_tuning",
    "days_view",
    "faces_control",
    "fits_view",
    "frame_to_hours",
    "grain_control",
    "job_form",
    "lesson",
    "loading_control",
    "loading_figure",
    "minutes_control",
    "noise_control",
    "panel_view",
    "program_lines",
    "program_time",
    "quantities_view",
    "quote_job",
    "season_control",
    "shapes_control",
    "stations_control",
    "straight_move_seconds",
    "surface_control",
    "take_this_job",
    "tenon_control",
    "today_page",
    "training_control",
    "turns_figure",
    "what_if",
]
