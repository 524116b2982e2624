/*
 * Holdover inside a C program: a desk holds files by name, in memory, and the
 * commands of `holdover` work on them. Made by cbindgen; do not edit.
 *
 * Every function that can fail returns one of the codes below 0, and
 * holdover_message() says what it means; nothing is done then. Texts are
 * UTF-8, and end with a NUL where a `const char *` goes in. A desk belongs to
 * one thread at a time; any number of desks may be at work at once.
 */

#ifndef HOLDOVER_H
#define HOLDOVER_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

/*
 The version of what goes in and comes out: the JSON, the schema files, and
 these functions.
 */
#define HOLDOVER_SCHEMA 2

/*
 Done.
 */
#define HOLDOVER_OK 0

/*
 A pointer is null that must not be, or is not aligned.
 */
#define HOLDOVER_NULL -1

/*
 A length is more than memory holds.
 */
#define HOLDOVER_LENGTH -2

/*
 A text is no UTF-8.
 */
#define HOLDOVER_NOT_UTF8 -3

/*
 There is no such file, or no file of that index.
 */
#define HOLDOVER_ABSENT -4

/*
 What is given as a desk is none.
 */
#define HOLDOVER_NO_DESK -5

/*
 A fault of the library itself; the desk can be used on.
 */
#define HOLDOVER_FAULT -6

/*
 Memory is short; the desk can be used on.
 */
#define HOLDOVER_MEMORY -7

/*
 What is asked for beside what is known to be needed: names, nodes of maps.
 Judgement, no source.
 */
#define ROOM (64 << 10)

/*
 Files by name, in memory, and what the last command printed.
 */
typedef struct HoldoverDesk HoldoverDesk;

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

/*
 HOLDOVER_SCHEMA of the library in use; compare it with the header's.
 */
uint32_t holdover_schema(void);

/*
 What a code means, in English; never null, and not to be freed.
 */
const char *holdover_message(int code);

/*
 A new, empty desk; null where there is no memory for one. Free it with
 holdover_desk_free().
 */
struct HoldoverDesk *holdover_desk_new(void);

/*
 Frees a desk and all that it gave out. Null is none, and left alone.

 # Safety
 `desk` is null, or from `holdover_desk_new` and not freed yet.
 */
void holdover_desk_free(struct HoldoverDesk *desk);

/*
 Puts a file on the desk, in the place of one of that name; its bytes are
 copied. The name "-" is standard input. `bytes` may be null where `length`
 is 0. HOLDOVER_MEMORY where there is no memory for the copy: the desk is as
 it was.

 # Safety
 `desk` is null or a desk; `name` is null or ends with a NUL; `bytes` is
 null or has `length` bytes.
 */
int holdover_desk_put(struct HoldoverDesk *desk,
                      const char *name,
                      const uint8_t *bytes,
                      size_t length);

/*
 A file's bytes. They are the desk's, and stay until it is changed, run or
 freed.

 # Safety
 `desk` is null or a desk; `name` is null or ends with a NUL; `bytes` and
 `length` are null or can be written.
 */
int holdover_desk_get(const struct HoldoverDesk *desk,
                      const char *name,
                      const uint8_t **bytes,
                      size_t *length);

/*
 Takes a file from the desk.

 # Safety
 `desk` is null or a desk; `name` is null or ends with a NUL.
 */
int holdover_desk_remove(struct HoldoverDesk *desk, const char *name);

/*
 The name of the file at an index, from 0, in the order of the names' bytes;
 HOLDOVER_ABSENT past the last. It has a NUL behind it, which `length` does
 not count, and stays until the desk is changed, run or freed.

 # Safety
 `desk` is null or a desk; `name` and `length` are null or can be written.
 */
int holdover_desk_name(struct HoldoverDesk *desk,
                       size_t index,
                       const char **name,
                       size_t *length);

/*
 Runs a command: its words as after the program's name, `count` of them.
 Returns what the binary's exit code would be, 0, 1 or 2 (see
 holdover_message()), or a code below 0. Files that the command writes are
 on the desk afterwards.

 HOLDOVER_MEMORY where 32 MiB and four times the bytes of the files cannot be
 had before it begins, or what it printed cannot be kept. A command that finds
 no memory while it works ends the process, this function alone: run what may
 need more than there is in a process of its own.

 # Safety
 `desk` is null or a desk; `words` is null or has `count` pointers, each null
 or to a text that ends with a NUL.
 */
int holdover_desk_run(struct HoldoverDesk *desk, const char *const *words, size_t count);

/*
 What the last command printed to standard output; empty before the first.
 It has a NUL behind it, which `length` does not count, and stays until the
 desk is run or freed.

 # Safety
 `desk` is null or a desk; `bytes` and `length` are null or can be written.
 */
int holdover_desk_output(const struct HoldoverDesk *desk,
                         const uint8_t **bytes,
                         size_t *length);

/*
 What the last command printed to standard error, without colour: what is
 wrong, where, and how to mend it. As holdover_desk_output() otherwise.

 # Safety
 `desk` is null or a desk; `text` and `length` are null or can be written.
 */
int holdover_desk_said(const struct HoldoverDesk *desk,
                       const char **text,
                       size_t *length);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* HOLDOVER_H */
