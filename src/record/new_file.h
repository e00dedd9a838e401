// Files that are made: never over what is there, never through a symbolic link, never by two at once.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>

namespace hopbench {

/// Makes a file to append to, or takes an empty one, and locks it (flock) until it is closed. Gives its descriptor, or
/// minus an errno: EEXIST for what holds something and for a symbolic link to a file, EBUSY if somebody holds the lock.
/// Devices and pipes are opened as they are.
int open_new_file(const std::string& path);

/// Makes room for open_new_file() at the path of an unfinished file: empties what a killed program left there, if it
/// begins with `beginning` and nobody holds its lock. Anything else is left alone, and what comes next refuses it.
void take_over_unfinished(const std::string& path, std::string_view beginning);

/// Writes a whole file, under `path` + ".new" first, and gives it its name. 0 or an errno. `replace`: a file of that
/// name, or a symbolic link itself, is replaced; otherwise EEXIST. To a
/// device it is written as it is.
int write_new_file(const std::string& path, std::span<const std::uint8_t> bytes, bool replace);

/// Syncs the directory in which `path` lies: only then a file made there is sure to be found after a power cut. 0 or an
/// errno.
int sync_directory_of(const std::string& path);

/// Replaces a whole file so that after a power cut the old one or the new one is there, whole: under `path` + ".new"
/// first, synced, renamed, and the directory synced. 0 or an errno; then the old one stands.
int replace_durably(const std::string& path, std::span<const std::uint8_t> bytes);

/// A device or a pipe, also through links: what is written to it replaces nothing.
bool is_device(const std::string& path);

/// Gives a file another name, where there is nothing of that name yet. 0 or an errno.
int move_to_new(const std::string& from, const std::string& to);

/// True for the same file under whatever names.
bool is_same_file(const std::string& a, const std::string& b);

/// What an errno of these means, in a few words.
std::string file_error(int error);

}  // namespace hopbench
