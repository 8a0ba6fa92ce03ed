"""All that a browser keeps of a site, as one text: caches, databases, local and session storage."""

from tests.browser.person import Person

EVERYTHING = """async () => {
  const found = [JSON.stringify({ ...localStorage }), JSON.stringify({ ...sessionStorage })];
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) {
      found.push(request.url, await (await cache.match(request)).text());
    }
  }
  for (const { name } of await indexedDB.databases()) {
    const base = await new Promise((good, bad) => {
      const asked = indexedDB.open(name);
      asked.onsuccess = () => good(asked.result);
      asked.onerror = () => bad(asked.error);
    });
    for (const store of base.objectStoreNames) {
      const all = base.transaction(store).objectStore(store).getAll();
      found.push(name, store, JSON.stringify(await new Promise((good) => {
        all.onsuccess = () => good(all.result);
      })));
    }
    base.close();
  }
  return found.join("\\n");
}"""


def all_that_is_kept(one: Person) -> str:
    """Return it, from wherever the person's page stands."""
    found: str = one.page.evaluate(EVERYTHING)
    return found


def addresses_kept(one: Person) -> set[str]:
    """Return the paths of all that lies in a cache."""
    found: list[str] = one.page.evaluate(
        """async () => {
          const all = (await caches.keys()).map(async (name) => (await caches.open(name)).keys());
          return (await Promise.all(all)).flat().map(({ url }) => new URL(url).pathname);
        }"""
    )
    return set(found)
