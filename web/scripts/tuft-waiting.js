// On whatever page: marks that still wait on this device go to the server.
import { all } from "./entry-store.js";

const kept = await all("marks");
if (kept.some((one) => !one.refused)) (await import("./tuft-sender.js")).flush(() => {});
