// Requests. Each gives a tagged result; only what nobody foresaw is thrown.

/**
 * done: the machine has accepted, or it was so already.
 * refused: it will not be done; `says` and `remedy` tell.
 * lost: nobody answered.
 * @typedef {{ tag: "done", answer: any } | { tag: "refused", says: string, remedy: string } | { tag: "lost" }} Result
 */

/** A request that is not answered in this time is lost, ms. */
const ANSWER_MS = 4000;

async function call(path, options) {
  try {
    const response = await fetch(path, {
      ...options,
      cache: "no-store",
      signal: AbortSignal.timeout(ANSWER_MS),
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

/** @returns {Promise<Result>} */
async function get(path) {
  const answered = await call(path, {});
  if (!answered) return { tag: "lost" };
  const { status, body } = answered;
  if (status === 200) return { tag: "done", answer: body };
  return { tag: "refused", says: String(body.says ?? ""), remedy: String(body.remedy ?? "") };
}

export const api = {
  ask: (generation, ask) => post("/api/ask", { generation, ask }),
  ways: (back_mm) => get(`/api/ways?back_mm=${back_mm}`),
  resume: (generation, plan, back_mm, accepted) => post("/api/resume", { generation, plan, back_mm, accepted }),
  trace: (name) => get(`/api/trace?name=${encodeURIComponent(name)}`),
  /** `press` names the press: the same number each time that it is sent, another for the next. */
  hold: (press) => post("/api/hold", { press }),
  table: () => post("/api/table", {}),
  load: (generation, id, version, accepted) => post("/api/load", { generation, id, version, accepted }),
  programs: () => get("/api/programs"),
  program: (id) => get(`/api/program?id=${encodeURIComponent(id)}`),
  job: (seal) => get(`/api/job?seal=${encodeURIComponent(seal)}`),
  events: () => get("/api/events"),
};
