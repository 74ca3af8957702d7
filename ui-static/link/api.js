// Requests. Each gives a tagged result; only what nobody foresaw is thrown.

/**
 * done: the machine has accepted, or it was so already.
 * refused: it will not be done; `says` and `remedy` tell, and `field` what of the request is meant.
 * lost: nobody answered.
 * @typedef {{ tag: "done", answer: any } | { tag: "refused", field?: string, says: string, remedy: string } | { tag: "lost" }} Result
 */

/** A request that is not answered in this time is lost, ms. */
const ANSWER_MS = 4000;
/** A program that is sent may take so long, ms. */
const SENT_MS = 60_000;

async function call(path, options, within = ANSWER_MS) {
  try {
    const response = await fetch(path, {
      ...options,
      cache: "no-store",
      signal: AbortSignal.timeout(within),
    });
    return { status: response.status, body: await response.json() };
  } catch {
    return null;
  }
}

/** @returns {Promise<Result>} */
async function post(path, body) {
  const answered = await call(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });
  if (!answered) return { tag: "lost" };
  const { status, body: answer } = answered;
  if (status === 200 && (answer.answer === "accepted" || answer.answer === "already-so")) {
    return { tag: "done", answer };
  }
  return { tag: "refused", says: String(answer.says ?? ""), remedy: String(answer.remedy ?? "") };
}

/** A request whose answer is not the machine's: done when it was taken. @returns {Promise<Result>} */
async function put(path, body, within = ANSWER_MS) {
  const answered = await call(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  }, within);
  if (!answered) return { tag: "lost" };
  const { status, body: answer } = answered;
  if (status === 200) return { tag: "done", answer };
  return { tag: "refused", field: String(answer.field ?? ""), says: String(answer.says ?? ""), remedy: String(answer.remedy ?? "") };
}

/** @returns {Promise<Result>} */
async function get(path) {
  const answered = await call(path, {});
  if (!answered) return { tag: "lost" };
  const { status, body } = answered;
  if (status === 200) return { tag: "done", answer: body };
  return { tag: "refused", field: String(body.field ?? ""), says: String(body.says ?? ""), remedy: String(body.remedy ?? "") };
}

export const api = {
  ask: (generation, ask) => post("/api/ask", { generation, ask }),
  ways: (back_mm) => get(`/api/ways?back_mm=${back_mm}`),
  resume: (generation, plan, back_mm, accepted) => post("/api/resume", { generation, plan, back_mm, accepted }),
  trace: (name) => get(`/api/trace?name=${encodeURIComponent(name)}`),
  /** `press` names the press: the same number each time that it is sent, another for the next. */
  hold: (press) => post("/api/hold", { press }),
  table: () => post("/api/table", {}),
  load: (generation, id, version, accepted, pauses) => post("/api/load", { generation, id, version, accepted, pauses }),
  programs: () => get("/api/programs"),
  program: (id) => get(`/api/program?id=${encodeURIComponent(id)}`),
  job: (seal) => get(`/api/job?seal=${encodeURIComponent(seal)}`),
  /** What happened of late; `run`: of one alone, `faults`: what stopped the machine alone. */
  events: ({ run = null, faults = false } = {}) => get(`/api/events?${new URLSearchParams({ ...(run === null ? {} : { run }), ...(faults ? { faults } : {}) })}`),
  runs: () => get("/api/runs"),
  stop: () => get("/api/stop"),
  replay: (run) => get(`/api/replay?run=${run}`),
  replayAt: (start, us) => get(`/api/replay/at?start=${start}&us=${us}`),
  replayJob: (seal) => get(`/api/replay/job?seal=${encodeURIComponent(seal)}`),
  pin: () => get("/api/pin"),
  /** `null`: none. */
  setPin: (pin) => put("/api/pin", { pin }),
  givePin: (pin) => put("/api/enter", { pin }),
  /** `replaces`: the version of the one that is there, or `null`. */
  sendProgram: (file, text, setup, replaces) => put("/api/program", { file, text, setup, replaces }, SENT_MS),
};
