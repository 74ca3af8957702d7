// Shapes of the messages, for the checker only: never loaded.

export type Point = [number, number];

export interface Path {
  pierce: Point;
  length_mm: number;
  /** x, y, mm along. */
  points: [number, number, number][];
}

export interface Drawing {
  sheet: Point | null;
  corner: Point;
  kerf_mm: number | null;
  cuts: Path[];
  clamp: Point | null;
  keepouts: [Point, Point][];
  used: Point[][];
  /** Outlines of what is loose in the end. */
  loose: Point[][];
}

export interface CutView {
  state: "to-do" | "now" | "done" | "skipped";
  done: [number, number][];
}

export type Told =
  | { kind: "snapshot"; v: number; n: number; at_s: number; table: Table; view: View }
  | { kind: "delta"; v: number; n: number; at_s: number; set: Partial<View>; cuts?: Record<string, CutView> }
  | { kind: "dropped"; v: number; missed: number };

export interface Table {
  name: string;
  practice: boolean;
  lacks: { id: string; says: string; therefore: string; place: "everywhere" | "hand" | "parts" }[];
  opens_on: string | null;
}

export interface View {
  generation: number;
  phase: string;
  step: string | null;
  waiting_for: string;
  waited_s: number;
  wait_limit_s: number | null;
  run: number | null;
  seal: string | null;
  cut: number | null;
  station_mm: number | null;
  torch: {
    place: Point | null;
    height_mm: number | null;
    age_s: number | null;
    feed_mm_s: number | null;
    moving: boolean;
    arc: "off" | "asked" | "on" | "locked-out" | "unknown";
    permit: boolean;
  };
  cuts: CutView[];
  marks: { number: number; cut: number; at_mm: number; place: Point; between_mm: [number, number] | null; cause: string }[];
  entries: Segment[][];
  hold: null | {
    cause: string;
    cut: number | null;
    at_mm: number | null;
    what: string;
    why: string;
    remedy: string;
    choices: string[];
    ran_on_mm: number | null;
    torch_down: boolean | null;
    stop: null | { run: number; number: number; cut: number; lost: Lost | null; kerf_end_failed: boolean };
  };
  datum: null | { marks: { place: Point; feature: string; cut: number | null }[]; seen: number; over: boolean };
  alarms: Alarm[];
  checks: { check: string; vouched: boolean; holds: boolean | null; says: string; remedy: string }[];
  allowed: { ask: string; refused: string | null }[];
  left_s: number | null;
  run_s: number | null;
  arc_on_s: number;
  pierces: number;
  holds: { cause: string; cut: number; at_mm: number; resumed_mm: number | null }[];
  doubtful: boolean;
  near: { safe: boolean; why: string };
  link: { alive: boolean; age_s: number | null; referenced: boolean; resent: number; bad_frames: number };
  signals: Record<string, boolean | number | null>;
  parts: { parts: Part[]; fitted: PartSet | null; sets: PartSet[]; wanted_amps: number | null; tested: boolean };
  change: Change | null;
}

export interface Part {
  part: "nozzle" | "electrode" | "shield" | "swirl-ring";
  starts: number;
  failed: number;
  lost: number;
  arc_s: number;
  /** 1 is its change point; `null`: not reckoned. */
  worn: number | null;
}

export interface PartSet {
  tag: string;
  amps: number;
}

/** A change of torch parts that is open. */
export interface Change {
  step: "park" | "isolate" | "swap" | "contact" | "source" | "touch" | "done";
  moving: boolean;
  parked: boolean;
  power: "off" | "on" | "cannot-tell";
  power_at_s: number | null;
  vouched: boolean;
  changed: string[] | null;
  contact_closed: boolean;
  contact_seen: boolean;
  tested: boolean;
  by_touch: boolean;
  may_touch: boolean;
  off_mm: number | null;
  trouble: string | null;
  before: Part[];
}

/** The plan of a job before START. */
export interface JobPlan {
  run_s: number;
  pauses_s: number;
  arc_on_s: number;
  pauses: { before_cut: number; at_s: number; wait_s: number; cause: "air-wait" | "duty-wait" | "change-due" }[];
  cures: string[];
  hopeless: string[];
  air: { low_bar: number; full_bar: number; lowest_bar: number };
  duty: { limit_s: number; most_s: number };
  wear: { before: number; after: number } | null;
  hottest: { cut: number; rise_k: number } | null;
  cost: { parts: number; time: number; per_metre: number } | null;
  line: { at_s: number; bar: number; duty: number; wear: number | null }[];
}

export interface Lost {
  at_mm: number;
  low_mm: number;
  high_mm: number;
}

/** A stretch of a path, mm on the sheet. Equal ends of an arc are a full circle. */
export type Segment =
  | { line: { from: Point; to: Point } }
  | { arc: { from: Point; to: Point; centre: Point; clockwise: boolean } };

/** A way on from a stop. */
export interface Plan {
  id: string;
  way: "kerf-end" | "lead-in" | "restart" | "tab" | "leave";
  pierce: Point;
  entry: Segment[];
  entry_mm_s: number;
  from_mm: number;
  pierces: boolean;
  overlap_mm: number;
  uncut_mm: number;
  tab_mm: number;
  why: string;
  warns: { rule: string; says: string }[];
}

export interface Alarm {
  cause: string;
  level: "notice" | "job-stopped" | "danger";
  at_s: number;
  first: boolean;
  seen: boolean;
  gone: boolean;
  latched: boolean;
  what: string;
  why: string;
  remedy: string;
}
