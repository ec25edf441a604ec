// SQLite's own file layer, made to fail on purpose: the n-th write, cut or sync of the store's files.
#pragma once

#include <sqlite3.h>

#include <new>

namespace driftline::history {

struct FailingStore {
  int first = 0;                  // 0: nothing fails
  int count = 1;
  int reason = SQLITE_FULL;
  bool after_the_deed = false;    // what fails was done all the same
  int calls = 0;

  bool fails() {
    ++calls;
    return first > 0 && calls >= first && calls < first + count;
  }
};
inline FailingStore failing_store;  // the layer below is SQLite's, one a process

namespace failing {

struct File {
  sqlite3_file base;
  sqlite3_file* real;
};

inline sqlite3_vfs* original = nullptr;
inline File* self(sqlite3_file* file) { return reinterpret_cast<File*>(file); }  // NOLINT: C's inheritance
inline sqlite3_file* real(sqlite3_file* file) { return self(file)->real; }

template <typename Deed>
int unless_failing(Deed deed) {
  if (!failing_store.fails()) return deed();
  if (failing_store.after_the_deed) (void)deed();
  return failing_store.reason;
}

inline const sqlite3_io_methods* methods() {
  static const sqlite3_io_methods table{
      3,
      [](sqlite3_file* f) { return real(f)->pMethods->xClose(real(f)); },
      [](sqlite3_file* f, void* to, int n, sqlite3_int64 at) { return real(f)->pMethods->xRead(real(f), to, n, at); },
      [](sqlite3_file* f, const void* from, int n, sqlite3_int64 at) {
        return unless_failing([&] { return real(f)->pMethods->xWrite(real(f), from, n, at); });
      },
      [](sqlite3_file* f, sqlite3_int64 n) {
        return unless_failing([&] { return real(f)->pMethods->xTruncate(real(f), n); });
      },
      [](sqlite3_file*, int) { return unless_failing([] { return SQLITE_OK; }); },  // no waiting for the disk in tests
      [](sqlite3_file* f, sqlite3_int64* n) { return real(f)->pMethods->xFileSize(real(f), n); },
      [](sqlite3_file* f, int level) { return real(f)->pMethods->xLock(real(f), level); },
      [](sqlite3_file* f, int level) { return real(f)->pMethods->xUnlock(real(f), level); },
      [](sqlite3_file* f, int* out) { return real(f)->pMethods->xCheckReservedLock(real(f), out); },
      [](sqlite3_file* f, int op, void* arg) { return real(f)->pMethods->xFileControl(real(f), op, arg); },
      [](sqlite3_file* f) { return real(f)->pMethods->xSectorSize(real(f)); },
      [](sqlite3_file* f) { return real(f)->pMethods->xDeviceCharacteristics(real(f)); },
      [](sqlite3_file* f, int page, int size, int extend, void volatile** out) {
        return real(f)->pMethods->xShmMap(real(f), page, size, extend, out);
      },
      [](sqlite3_file* f, int at, int n, int flags) { return real(f)->pMethods->xShmLock(real(f), at, n, flags); },
      [](sqlite3_file* f) { real(f)->pMethods->xShmBarrier(real(f)); },
      [](sqlite3_file* f, int remove) { return real(f)->pMethods->xShmUnmap(real(f), remove); },
      [](sqlite3_file* f, sqlite3_int64 at, int n, void** out) { return real(f)->pMethods->xFetch(real(f), at, n, out); },
      [](sqlite3_file* f, sqlite3_int64 at, void* p) { return real(f)->pMethods->xUnfetch(real(f), at, p); },
  };
  return &table;
}

inline int open(sqlite3_vfs*, const char* name, sqlite3_file* file, int flags, int* out) {
  self(file)->real = reinterpret_cast<sqlite3_file*>(self(file) + 1);  // NOLINT: room behind ours, as szOsFile says
  const int code = original->xOpen(original, name, self(file)->real, flags, out);
  self(file)->base.pMethods = code == SQLITE_OK ? methods() : nullptr;
  return code;
}

}  // namespace failing

// From now on every database of this process goes through it.
inline void install_failing_store() {
  if (failing::original != nullptr) return;
  sqlite3_initialize();
  failing::original = sqlite3_vfs_find(nullptr);
  static sqlite3_vfs layer = *failing::original;
  layer.szOsFile = static_cast<int>(sizeof(failing::File)) + failing::original->szOsFile;
  layer.zName = "failing";
  layer.pNext = nullptr;
  layer.xOpen = &failing::open;
  sqlite3_vfs_register(&layer, 1);
}

}  // namespace driftline::history
