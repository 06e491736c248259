//! The last few things that were costly to make. In: a name and the thing. Out: the thing, as
//! long as it was used lately.

/// Keeps at most a fixed number of things, the least recently used goes first.
#[derive(Debug)]
pub struct Cache<T> {
    most: usize,
    /// Last used at the end.
    kept: Vec<(String, T)>,
}

impl<T: Clone> Cache<T> {
    pub fn new(most: usize) -> Self {
        Self { most, kept: Vec::new() }
    }

    pub fn get(&mut self, name: &str) -> Option<T> {
        let at = self.kept.iter().position(|(known, _)| known == name)?;
        let found = self.kept.remove(at);
        let value = found.1.clone();
        self.kept.push(found);
        Some(value)
    }

    pub fn put(&mut self, name: &str, value: T) {
        self.remove(name);
        self.kept.push((name.to_owned(), value));
        if self.kept.len() > self.most {
            self.kept.remove(0);
        }
    }

    pub fn remove(&mut self, name: &str) {
        self.kept.retain(|(known, _)| known != name);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_not_used_lately_goes() {
        let mut cache = Cache::new(2);
        cache.put("a", 1);
        cache.put("b", 2);
        assert_eq!(cache.get("a"), Some(1));
        cache.put("c", 3);
        assert_eq!((cache.get("a"), cache.get("b"), cache.get("c")), (Some(1), None, Some(3)));
        cache.put("c", 4);
        assert_eq!(cache.get("c"), Some(4));
        cache.remove("c");
        assert_eq!(cache.get("c"), None);
    }
}
