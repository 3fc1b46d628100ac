import assert from "node:assert/strict";
import { test } from "node:test";
import { Refused, Unreachable, call } from "../js/api.js";
import { FakeServer } from "./fakes.js";

test("an answer is read, and JSON is sent as such", async () => {
  const server = new FakeServer();
  server.answer = () => [201, { id: "a" }];
  assert.deepEqual(await call("POST", "/x", { json: { count: 2 } }), { id: "a" });
  assert.deepEqual(server.requests, [{ method: "POST", url: "/x", sent: { count: 2 } }]);
});

test("no answer is a server that is away", async () => {
  new FakeServer().away = true;
  await assert.rejects(call("GET", "/x"), Unreachable);
});

for (const status of [401, 408, 429, 500, 503]) {
  test(`status ${status} may be sent again later`, async () => {
    new FakeServer().answer = () => [status, { error: { code: "c", message: "later" } }];
    await assert.rejects(call("GET", "/x"), (error) => {
      assert.ok(error instanceof Unreachable);
      assert.deepEqual([error.status, error.message], [status, "later"]);
      return true;
    });
  });
}

for (const status of [403, 404, 409, 422]) {
  test(`status ${status} is a no, with its reason`, async () => {
    new FakeServer().answer = () => [status, { error: { code: "c", message: "no", details: { field: "days" } } }];
    await assert.rejects(call("GET", "/x"), (error) => {
      assert.ok(error instanceof Refused);
      assert.deepEqual([error.status, error.code, error.message], [status, "c", "no"]);
      assert.deepEqual(error.details, { field: "days" });
      return true;
    });
  });
}

test("a page that is not ours is named by its status", async () => {
  new FakeServer().answer = () => [404, "<html>"];
  await assert.rejects(call("GET", "/x"), /status 404/);
});
